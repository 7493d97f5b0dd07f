"""What a sheet of reflector or cover does to light, apart from where it stands."""
