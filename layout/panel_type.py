"""Panel types: datasheet values and the bundled invented types."""

from dataclasses import dataclass


@dataclass(frozen=True)
class PanelType:
    """Datasheet of one panel type at standard test conditions.

    cells : (along the length, along the width)
    group_direction : "length" where each bypass group is a strip along the length edge, "width" otherwise
    bifaciality : rear over front power, 0 = one face
    """

    name: str
    length_m: float
    width_m: float
    cells: tuple[int, int]
    half_cut: bool
    bypass_groups: int
    group_direction: str
    pmax_w: float
    vmp_v: float
    imp_a: float
    voc_v: float
    isc_a: float
    alpha_isc_pct_per_k: float
    beta_voc_pct_per_k: float
    gamma_pmax_pct_per_k: float
    bifaciality: float = 0.0
    max_cell_c: float = 85.0
    max_light_w_m2: float = 1250.0
    max_cell_stated: bool = False
    max_light_stated: bool = False
    u0_w_m2_k: float = 25.0
    u1_w_s_m3_k: float = 6.84
    note: str = ""

    @property
    def limits_stated(self) -> bool:
        """Whether both limits are the maker's; one that is not stated is our default."""
        return self.max_cell_stated and self.max_light_stated

    @property
    def area_m2(self) -> float:
        """Area of one side, m²."""
        return self.length_m * self.width_m
