"""The table [hot_water] of a plan file: heat taken off the panels into a store."""

from sites.tables import Table, number


class HotWaterTable(Table):
    """[hot_water]; absent: none. Coefficients as in ISO 9806, per m² of panel"""

    eta0: float = number("share of the light that becomes heat at the air's temperature, panels producing", gt=0, le=1)
    a1: float = number("heat loss factor, W/m²K", ge=0, le=50)
    a2: float = number("heat loss factor that grows with temperature, W/m²K²", 0.0, ge=0, le=1)
    set_c: float = number("temperature at which hot water is wanted", 55.0, ge=20, le=90)
    cold_c: float = number("temperature of the mains", 12.0, ge=0, le=40)
    store_litres: float = number("water in the store", gt=0, le=10_000_000)
    draw_litres_per_day: float = number("hot water wanted a day, at set_c", ge=0, le=10_000_000)
    panels_share: float = number("share of the panels that give heat", 1.0, gt=0, le=1)
    most_c: float = number("store temperature at which the pump stops", 85.0, ge=25, le=110)
    store_loss_w_per_k: float = number("heat loss of the store, W per K above room_c", 2.0, ge=0, le=10_000)
    room_c: float = number("temperature around the store", 15.0, ge=-20, le=50)
