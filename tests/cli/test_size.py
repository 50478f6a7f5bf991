"""The verb `size`, from the command line."""

import importlib.util
import json
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cli.sized_lines import HOSE, STATION, forecast, sized, written
from linetender.cli.exit_codes import ExitCode
from linetender.cli.main import told
from linetender.settings.problems import StationFileError
from linetender.settings.shipped import shipped

SHEETS = Path(__file__).parent / "sizes"
EXAMPLES = ("fan_side_orifice", "wearer_side_calibrated")

# Fan p = 250·(1 - (Q/0.0472)²) Pa and a hood gap with Δp = 1e6·Q² (Q in m³/s): with a gap
# coefficient of 0.62 and 1.2 kg/m³ that is an area of √(0.5·1.2/1e6)/0.62 m². The duct is
# so wide and short that it takes nothing.
CLOSED_FORM = """\
[fan]
rated_airflow_l_min = 2832
shut_off_pa = 250
[hood]
outlet_cm2 = 12.493547
[[duct]]
length_m = 0.01
diameter_mm = 1000
roughness_mm = 0
[intake]
temperature_c = 20
wind_m_s = 0
"""

LINEAR_FILTER = """\
[filter]
rated_pa = 60
rated_airflow_l_min = 600
"""


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_sheet_of_an_example(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, update_golden: bool
) -> None:
    (tmp_path / f"{name}.toml").write_bytes(shipped(f"config/{name}.toml").read_bytes())
    monkeypatch.chdir(tmp_path)
    result = sized(f"{name}.toml", state=tmp_path)
    assert result.exit_code == ExitCode.FINE
    golden = SHEETS / f"{name}.txt"
    if update_golden:
        golden.write_text(result.stdout, encoding="utf-8")
    assert result.stdout == golden.read_text(encoding="utf-8")
    assert max(map(len, result.stdout.splitlines())) <= 80
    assert "\x1b" not in result.stdout


def test_pitot_and_bare_duct_cannot_carry_the_alarm_and_an_orifice_can(tmp_path: Path) -> None:
    path = str(shipped("config/fan_side_orifice.toml"))
    result = sized(path, state=tmp_path)
    said = " ".join(result.stdout.split())
    assert (
        "Can carry the alarm at 170 L/min: an orifice plate (2.73 Pa), hose and hood (8.06 Pa). "
        "Cannot, for too little or too vague a signal: a pitot tube (0.0756 Pa), "
        "the bare duct (0.172 Pa)." in said
    )
    found = json.loads(sized(path, "--json", state=tmp_path).stdout)
    usable = {each["name"]: each["usable_with"] for each in found["elements"]}
    assert usable["orifice, 50 mm hole in 100 mm"] == ["±500 Pa", "±125 Pa"]
    assert usable["pitot tube in 100 mm"] == []
    assert usable["bare duct, 8 m of 100 mm"] == []


def test_fan_and_square_system_in_closed_form(tmp_path: Path) -> None:
    """√(p0/(p0/Qf² + k)): 899.55 L/min and 224.78 Pa, as scipy finds them too."""
    found = forecast(tmp_path, STATION + CLOSED_FORM)
    assert found["airflow_l_min"]["likely"] == pytest.approx(899.55, rel=1e-4)
    assert found["fan_pa"] == pytest.approx(224.78, rel=1e-3)


def test_fan_system_and_filter_in_closed_form(tmp_path: Path) -> None:
    """With r = 6000 Pa·s/m³: 752.16 L/min, filter 75.22 Pa; r doubled: 632.34, 126.47 Pa."""
    found = forecast(tmp_path, STATION + CLOSED_FORM + LINEAR_FILTER)
    due = next(each for each in found["changes"] if each["change"] == "due")
    drops = {each["name"]: each["pressure_pa"] for each in found["drops"]}
    # Density is 1.199 kg/m³, not 1.2: half a per mille of the flow.
    assert found["airflow_l_min"]["likely"] == pytest.approx(752.16, rel=1e-3)
    assert drops["filter"] == pytest.approx(75.22, rel=1e-3)
    assert due["airflow_l_min"] == pytest.approx(632.34, rel=1e-3)
    assert due["filter_pa"] == pytest.approx(126.47, rel=1e-3)


def test_a_small_hepa_panel_eats_a_small_fan(tmp_path: Path) -> None:
    fan = "[fan]\nrated_airflow_l_min = 5660\npower_w = 4\n[hood]\noutlet_cm2 = 30\n"
    panel = '[filter]\nmedium = "hepa"\nwidth_mm = 150\nheight_mm = 150\n'
    text = STATION.replace("exit_time_s = 7", "exit_time_s = 7\nrequired_airflow_l_min = 170")
    result = sized(written(tmp_path, text + fan + panel + HOSE), state=tmp_path)
    assert result.exit_code == ExitCode.FINDINGS
    against = " ".join(result.stdout.partition("What speaks against it")[2].split())
    assert "Too little air: " in against
    assert "The filter takes " in against
    assert "the fan hardly carries it" in against
    assert "The file states 60 Pa as normal" in against


def test_a_station_not_fit_to_run_is_sized_all_the_same(tmp_path: Path) -> None:
    text = STATION.replace("exit_time_s = 7\n", "") + CLOSED_FORM
    result = sized(written(tmp_path, text), state=tmp_path)
    assert result.exit_code == ExitCode.FINDINGS
    assert "The station is not fit to run yet, 1 to mend: linetender lint" in result.stdout


FAN = "[fan]\nrated_airflow_l_min = 2832\nshut_off_pa = 250\n"
OUTLET = "[hood]\noutlet_cm2 = 30\n"


def _points(*points: tuple[float, float]) -> str:
    rows = "".join(f"  {{ airflow_l_min = {q}, pressure_pa = {p} }},\n" for q, p in points)
    return f"[fan]\npoints = [\n{rows}]\n"


BAD = {
    # what is written after the station: (lines below it, key, parts of what is said)
    "negative pressure": (
        _points((0, 200), (1000, -5)) + OUTLET + HOSE,
        (4, "fan.points[1].pressure_pa", ["-5", "static pressure there, Pa, from 0 to 20000"]),
    ),
    "zero airflow": (
        FAN.replace("2832", "0") + OUTLET + HOSE,
        (2, "fan.rated_airflow_l_min", ["= 0 ", "from 20 to 200000"]),
    ),
    "curve that rises": (
        _points((0, 200), (500, 210), (1000, 0)) + OUTLET + HOSE,
        (4, "fan.points[1].pressure_pa", ["less than the 200 Pa", "may surge"]),
    ),
    "flows out of order": (
        _points((0, 200), (900, 100), (800, 50)) + OUTLET + HOSE,
        (5, "fan.points[2].airflow_l_min", ["more than the 900 L/min", "each once"]),
    ),
    "curve without its beginning": (
        _points((100, 200), (900, 100)) + OUTLET + HOSE,
        (3, "fan.points[0].airflow_l_min", ["expected 0 in the first point"]),
    ),
    "line runs past the curve": (
        _points((0, 200), (300, 190)) + OUTLET + HOSE,
        (4, "fan.points[1]", ["no airflow fits fan and line", "still left", "free airflow"]),
    ),
    "cold air in a line too high for its fan": (
        FAN.replace("250", "2") + OUTLET + HOSE + "[intake]\ntemperature_c = -20\nrise_m = 30\n",
        (
            16,
            "intake.rise_m",
            ["no airflow fits fan and line", "2.3 Pa at most", "check the height"],
        ),
    ),
    "half a label": (
        FAN.replace("shut_off_pa = 250\n", "") + OUTLET + HOSE,
        (2, "fan.rated_airflow_l_min", ["tells no curve", "shut_off_pa"]),
    ),
    "nothing of the line": (
        "[fan]\n",
        (1, "fan.points", ["what the fan can do", "[[duct]]", "cm²"]),
    ),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_input_is_told_with_line_and_key(case: str, tmp_path: Path) -> None:
    text, (below, key, parts) = BAD[case]
    path = written(tmp_path, STATION + text)
    result = sized(path, state=tmp_path)
    assert isinstance(result.exception, Exception)
    code, said = told(result.exception)
    assert code == ExitCode.BAD_FILE
    assert f"{path}:{STATION.count(chr(10)) + below}: {key}" in said
    assert [part for part in parts if part not in said] == []


DUCTS = st.lists(
    st.tuples(st.floats(0.01, 200.0), st.floats(10.0, 1000.0), st.floats(0.0, 20.0)),
    min_size=1,
    max_size=3,
)
ELEMENTS = st.one_of(
    st.tuples(st.floats(5.0, 300.0), st.floats(20.0, 300.0)).map(
        lambda sizes: f'kind = "orifice"\nbore_mm = {min(sizes)}\npipe_mm = {max(sizes) + 20}'
    ),
    st.sampled_from(['kind = "pitot"', 'kind = "duct"', 'kind = "hood_hose"']),
    st.tuples(st.floats(0.1, 1000.0), st.floats(0.5, 1.0)).map(
        lambda fit: f'kind = "fitted"\nk = {fit[0]}\nn = {fit[1]}'
    ),
)
FANS = st.tuples(
    st.floats(20.0, 200_000.0), st.sampled_from(["shut_off_pa", "power_w"]), st.floats(1.0, 5000.0)
)


@settings(max_examples=20)
@given(
    element=ELEMENTS,
    fan=FANS,
    ducts=DUCTS,
    outlet_cm2=st.floats(0.5, 2000.0),
    face_mm=st.one_of(st.none(), st.floats(20.0, 2000.0)),
    required=st.floats(20.0, 2000.0),
    rise_m=st.floats(-50.0, 50.0),
)
def test_whatever_line_is_drawn_it_is_sized_or_refused_in_words(
    element: str,
    fan: tuple[float, str, float],
    ducts: list[tuple[float, float, float]],
    outlet_cm2: float,
    face_mm: float | None,
    required: float,
    rise_m: float,
) -> None:
    text = STATION.replace('kind = "hood_hose"', element).replace("hood_pressure", "duct_pressure")
    text = text.replace("altitude_m = 0", f"altitude_m = 0\nrequired_airflow_l_min = {required}")
    text += f"[fan]\nrated_airflow_l_min = {fan[0]}\n{fan[1]} = {fan[2]}\n"
    text += f"[hood]\noutlet_cm2 = {outlet_cm2}\n[intake]\nrise_m = {rise_m}\n"
    if face_mm is not None:
        text += f'[filter]\nmedium = "hepa"\nwidth_mm = {face_mm}\nheight_mm = {face_mm}\n'
    for length_m, diameter_mm, roughness_mm in ducts:
        text += f"[[duct]]\nlength_m = {length_m}\ndiameter_mm = {diameter_mm}\n"
        text += f"roughness_mm = {roughness_mm}\n"
    with tempfile.TemporaryDirectory() as folder:
        path = written(Path(folder), text)
        result = sized(path, state=Path(folder))
    if isinstance(result.exception, StationFileError):
        assert [each.key for each in result.exception.problems] == ["intake.rise_m"]
        return
    assert result.exit_code in (ExitCode.FINE, ExitCode.FINDINGS), result.exception
    prose = [line for line in result.stdout.splitlines() if "shed.toml" not in line]
    assert max(map(len, prose)) <= 80


def test_without_matplotlib_a_plot_says_how_to_get_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    result = sized(str(shipped("config/fan_side_orifice.toml")), "--plot", "p.png", state=tmp_path)
    assert (result.exit_code, result.stdout) == (ExitCode.USAGE, "")
    assert "pip install 'linetender[report]'" in result.stderr


@pytest.mark.parametrize(
    ("name", "first"), [("p.png", b"\x89PNG"), ("p.svg", b"<?xml"), ("p.pdf", b"%PDF")]
)
def test_a_plot(name: str, first: bytes, tmp_path: Path) -> None:
    plot = tmp_path / name
    path = str(shipped("config/fan_side_orifice.toml"))
    result = sized(path, "--plot", str(plot), state=tmp_path)
    assert result.exit_code == ExitCode.FINE
    assert plot.read_bytes().startswith(first)
    assert f"Drawn: {plot}" in result.stderr


def test_a_plot_of_an_unknown_kind(tmp_path: Path) -> None:
    path = str(shipped("config/fan_side_orifice.toml"))
    result = sized(path, "--plot", str(tmp_path / "p.docx"), state=tmp_path)
    assert (result.exit_code, result.stdout) == (ExitCode.USAGE, "")
    assert ".png, .svg, .pdf" in result.stderr


def test_a_filter_class_is_told_and_changes_no_figure(tmp_path: Path) -> None:
    panel = '[filter]\nmedium = "hepa"\nwidth_mm = 305\nheight_mm = 305\n'
    rest = FAN + OUTLET + HOSE + panel
    bare = forecast(tmp_path, STATION + rest)
    known = forecast(tmp_path, STATION + rest + 'efficiency_class = "H13"\n')
    assert (bare.pop("filter_class"), known.pop("filter_class")["efficiency_percent"]) == (
        None,
        99.95,
    )
    assert known == bare
    said = " ".join(sized(str(tmp_path / "shed.toml"), state=tmp_path).stdout.split())
    assert "Class H13 (EN 1822) stops 99.95 % of the particles that pass it most easily" in said
    assert "It says nothing of the pressure" in said


def test_an_unknown_filter_class_is_told_with_line_and_key(tmp_path: Path) -> None:
    text = FAN + OUTLET + HOSE + "[filter]\nrated_pa = 60\nrated_airflow_l_min = 600\n"
    result = sized(
        written(tmp_path, STATION + text + 'efficiency_class = "HEPA"\n'), state=tmp_path
    )
    assert isinstance(result.exception, StationFileError)
    assert 'filter.efficiency_class = "HEPA"' in str(result.exception)
    assert "H13" in str(result.exception)
