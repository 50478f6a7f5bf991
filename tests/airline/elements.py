"""Flow elements and air that several tests look at."""

from hypothesis import strategies as st

from linetender.airline.air_state import AirState, air_at
from linetender.airline.duct import Duct
from linetender.airline.fitted_element import CalibratedElement
from linetender.airline.flow_element import FlowElement
from linetender.airline.hood_hose import HoodHose
from linetender.airline.hood_outlet import HoodOutlet
from linetender.airline.orifice import Orifice, Taps
from linetender.airline.pitot import CENTRE_TO_MEAN_TURBULENT, Pitot
from linetender.airline.straight_duct import StraightDuct

ROOM = air_at(20.0, 101_325.0)

HOSE = Duct("hose", 1.2, 38.0, roughness_mm=1.0, quarter_bends=1.0)

ELEMENTS: dict[str, FlowElement] = {
    "orifice": Orifice(100.0, 50.0),
    "small orifice, D and D/2": Orifice(50.0, 35.0, Taps.D_AND_HALF_D),
    "averaging pitot": Pitot(100.0),
    "pitot on the axis": Pitot(100.0, CENTRE_TO_MEAN_TURBULENT),
    "smooth duct": StraightDuct(10.0, 100.0),
    "rough duct": StraightDuct(5.0, 75.0, 2.0),
    "hose and hood": HoodHose(100.0, HOSE, HoodOutlet(40.0)),
    "calibrated": CalibratedElement(40.0, 0.54, ROOM, 0.03),
}

airs = st.builds(
    air_at,
    st.floats(-10.0, 40.0),
    st.floats(70_000.0, 105_000.0),
    st.floats(0.0, 100.0),
)


def air_of(density_kg_m3: float, viscosity_pa_s: float = 18.1e-6) -> AirState:
    """Air of a density and viscosity given outright."""
    return AirState(20.0, 101_325.0, 50.0, density_kg_m3, viscosity_pa_s)
