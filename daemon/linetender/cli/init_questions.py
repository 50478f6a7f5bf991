"""What `init` asks: one table, in the order of asking."""

from enum import Enum
from typing import NamedTuple

from linetender.airline.trade_units import L_MIN_PER_CFM, PA_PER_INCH_OF_WATER

NONE = "none"
"""The answer that leaves an optional part out."""

TEACH = "teach"
"""The answer that leaves the normal pressure to `calibrate --teach`."""

MM_PER_INCH = 25.4
"""Exact (NIST SP 811, appendix B.8)."""

M_PER_FOOT = 0.3048
"""Exact (NIST SP 811, appendix B.8)."""


class Kind(Enum):
    """What an answer is; a quantity's value has its units, the one in the file first."""

    NAME = "name"
    CHOICE = "choice"
    SENSOR = "sensor"
    OXIMETER = "oximeter"
    TEXT = "text"
    SECRET = "secret"
    PART = "part"
    HOST = "host"
    NAMES = "names"
    BOXES = "boxes"
    PIN = "pin"
    SECONDS = "s"
    MINUTES = "min"
    COUNT = "count"
    PRESSURE = "Pa"
    FLOW = "L/min"
    DISTANCE = "m"
    WIDTH = "mm"
    AREA = "cm2"


UNITS: dict[Kind, dict[str, float]] = {
    Kind.SECONDS: {"s": 1.0},
    Kind.MINUTES: {"min": 1.0},
    Kind.COUNT: {"": 1.0},
    Kind.PRESSURE: {"Pa": 1.0, "inH2O": PA_PER_INCH_OF_WATER},
    Kind.FLOW: {"L/min": 1.0, "cfm": L_MIN_PER_CFM},
    Kind.DISTANCE: {"m": 1.0, "ft": M_PER_FOOT},
    Kind.WIDTH: {"mm": 1.0, "in": MM_PER_INCH},
    Kind.AREA: {"cm2": 1.0, "in2": MM_PER_INCH**2 / 100.0},
}
"""By kind: factors into the unit that the station file has, which a bare number means."""


class Question(NamedTuple):
    """One question.

    Attributes:
        name: Its key in a file of answers.
        words: As a person is asked.
        kind: What is expected, with its unit.
        default: The answer of an empty line; None where only the person can know.
        minimal: Whether `--minimal` asks it too.
        after: Asked only where an earlier question got this answer (of a sensor: this
            driver); an answer of None stands for any but "none".
        choices: Words that are taken beside, or instead of, a value.
        limits: Least and greatest, in the file's unit; of a text, how many letters.
    """

    name: str
    words: str
    kind: Kind
    default: str | None
    minimal: bool = False
    after: tuple[str, str | None] | None = None
    choices: tuple[str, ...] = ()
    limits: tuple[float, float] = (0.0, 0.0)


OPEN_HOOD = "open_hood_reason"
"""Asked last, and only where the way out takes longer than the air in the hood lasts."""

SENSOR = "sensor"
"""The question for the pressure sensor; what is asked of it then goes by its driver."""

_HAS_LINE = ("line", "yes")
_HAS_BROKER = ("broker_host", None)
_IS_ORIFICE = ("element", "orifice")
_OFF = (NONE,)
_YES_NO = ("yes", "no")

# fmt: off
QUESTIONS: tuple[Question, ...] = (
    Question("id", "A short name for this station (a-z, 0-9, - and _)",
             Kind.NAME, "shed", minimal=True),
    Question("arrangement", "Where does the box stand: at the wearer's end, or beside the fan?",
             Kind.CHOICE, "wearer_side", minimal=True, choices=("wearer_side", "fan_side")),
    Question("exit_time", "How long do you walk out of the room, in full gear, by a stopwatch?",
             Kind.SECONDS, None, minimal=True, limits=(1, 300)),
    Question("sensor", "Which pressure sensor watches the air?",
             Kind.SENSOR, None, minimal=True),
    Question("sensor_product", "Which of them is it, by its part number?",
             Kind.CHOICE, None, after=(SENSOR, "d6f_ph"),
             choices=("D6F-PH0505", "D6F-PH0025", "D6F-PH5050")),
    Question("sensor_part", "Its whole part number, as printed on it",
             Kind.PART, None, after=(SENSOR, "hsc")),
    Question("sensor_range", "Its largest differential pressure in psi: 001D in the part "
             "number is 1",
             Kind.CHOICE, "1", after=(SENSOR, "ms4525do"), choices=("1", "2", "5", "15", "30")),
    Question("sensor_output", "The letter of its output in the part number",
             Kind.CHOICE, "A", after=(SENSOR, "ms4525do"), choices=("A", "B")),
    Question("sensor_low", "Pressure at the lower end of the transducer's range",
             Kind.PRESSURE, None, after=(SENSOR, "ads1115_pressure"), limits=(-100_000, 100_000)),
    Question("sensor_high", "Pressure at the upper end of its range",
             Kind.PRESSURE, None, after=(SENSOR, "ads1115_pressure"), limits=(-100_000, 100_000)),
    Question("normal_pressure", "What does it read while the line runs as you use it? "
             "Best is teach: measure it later, in five minutes",
             Kind.PRESSURE, TEACH, minimal=True, choices=(TEACH,), limits=(0.5, 5000)),
    Question("button_pin", "GPIO of the answer button's normally open contact",
             Kind.PIN, "17", minimal=True),
    Question("button_nc_pin", "GPIO of its normally closed contact, by which a broken wire "
             "is noticed",
             Kind.PIN, "27", minimal=True, choices=_OFF),
    Question("siren_pin", "GPIO of the siren", Kind.PIN, "22", minimal=True),
    Question("lamp_pin", "GPIO of the green lamp: it blinks while all works",
             Kind.PIN, "23", minimal=True),
    Question("element", "What is the pressure measured across?",
             Kind.CHOICE, "hood_hose", choices=("hood_hose", "duct", "orifice", "pitot")),
    Question("orifice_bore", "Diameter of the hole in the orifice plate",
             Kind.WIDTH, None, after=_IS_ORIFICE, limits=(5, 500)),
    Question("orifice_pipe", "Inside diameter of the pipe around it",
             Kind.WIDTH, None, after=_IS_ORIFICE, limits=(20, 1000)),
    Question("altitude", "Height above the sea, as on a map",
             Kind.DISTANCE, "0", limits=(-430, 5000)),
    Question("required_airflow", "Least airflow at the hood that your local rules ask for; they go "
             "first. 170 L/min is the published least of a loose hood (42 CFR 84, subpart J, "
             "table 8). It is watched once the line is calibrated",
             Kind.FLOW, "170", limits=(20, 2000)),
    Question("hook_pin", "GPIO of the hook on which the hood hangs",
             Kind.PIN, NONE, choices=_OFF),
    Question("fan_mains_pin", "GPIO of the relay that is closed while the fan has mains",
             Kind.PIN, NONE, choices=_OFF),
    Question("co_alarm_pin", "GPIO of the relay of a carbon monoxide alarm at the intake",
             Kind.PIN, NONE, choices=_OFF),
    Question("oximeter", "Which pulse oximeter is worn (its Bluetooth address)?",
             Kind.OXIMETER, NONE, choices=_OFF),
    Question("check_in", "When no good pulse is seen, ask for a press every so often",
             Kind.MINUTES, NONE, choices=_OFF, limits=(1, 60)),
    Question("recording", "Keep a record of each session, in the folder sessions?",
             Kind.CHOICE, "yes", choices=_YES_NO),
    Question("broker_host", "Name or address of an MQTT broker that tells others; with its port "
             "where that is not the usual one, as broker.home.arpa:1884",
             Kind.HOST, NONE, choices=_OFF),
    Question("broker_tls", "Is the connection to it encrypted (TLS)?",
             Kind.CHOICE, "yes", after=_HAS_BROKER, choices=_YES_NO),
    Question("broker_user", "User name at the broker",
             Kind.TEXT, None, after=_HAS_BROKER, limits=(1, 120)),
    Question("broker_password", "Password of that user (kept in a file of its own)",
             Kind.SECRET, None, after=_HAS_BROKER, limits=(1, 120)),
    Question("contacts", "Who shall be told by it of a LEAVE, a phone or a person? Short names, "
             "e.g. kim lou",
             Kind.NAMES, NONE, after=_HAS_BROKER, choices=_OFF),
    Question("second_boxes", "Second boxes that sound elsewhere, and who is near each, e.g. "
             "bench:wearer kitchen:attendant",
             Kind.BOXES, NONE, after=_HAS_BROKER, choices=_OFF),
    Question("line", "Draw your line too, so that `linetender size` can reckon what it brings?",
             Kind.CHOICE, "no", choices=_YES_NO),
    Question("fan_airflow", "Airflow that the fan is sold with",
             Kind.FLOW, None, after=_HAS_LINE, limits=(20, 200_000)),
    Question("fan_pressure", "Pressure of the fan without flow",
             Kind.PRESSURE, None, after=_HAS_LINE, limits=(1, 20_000)),
    Question("duct_length", "Length of the duct from the fan",
             Kind.DISTANCE, None, after=_HAS_LINE, limits=(0.01, 200)),
    Question("duct_diameter", "Its inside diameter",
             Kind.WIDTH, None, after=_HAS_LINE, limits=(10, 1000)),
    Question("duct_bends", "How many bends of 90 degrees are in it?",
             Kind.COUNT, "2", after=_HAS_LINE, limits=(0, 40)),
    Question("hose_length", "Length of the hose to the hood",
             Kind.DISTANCE, None, after=_HAS_LINE, limits=(0.01, 200)),
    Question("hose_diameter", "Its inside diameter",
             Kind.WIDTH, None, after=_HAS_LINE, limits=(10, 1000)),
    Question("hood_gap", "Open area by which air leaves the hood: gap around the neck, length "
             "times width",
             Kind.AREA, None, after=_HAS_LINE, limits=(0.5, 2000)),
    Question(OPEN_HOOD, "That is longer than the air in a hood lasts, so LEAVE will say to "
             "open the hood while going. In one sentence: why is that all right here?",
             Kind.TEXT, None, minimal=True, limits=(3, 120)),
)
# fmt: on
