"""However a station file is garbled, it is loaded or refused in words: nothing else."""

import tempfile
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from linetender.core.plan_faults import fault_of_plan
from linetender.settings.load import load_station
from linetender.settings.problems import StationFileError
from linetender.settings.shipped import shipped

TEXTS = [path.read_text(encoding="utf-8") for path in sorted(shipped("config").glob("*.toml"))]

SCRAPS = [
    "nan", "inf", "-inf", "-1", "0", "1e308", "1e-308", "99999999999999999999", "true", "[]", "{}",
    '""', "'''", '"""', "[", "]", "{", "}", "=", "\n", "#", ".", ",", "1979-05-27", "07:32:00",
    '"required"', "[[far_end]]\n", "[rules]\n", "\u00e9", "\x00", "0x25", '"air_pressure_pa"',
]  # fmt: skip


@st.composite
def _mutated(draw: st.DrawFn) -> str:
    text = draw(st.sampled_from(TEXTS))
    for _ in range(draw(st.integers(1, 3))):
        start = draw(st.integers(0, len(text)))
        end = min(len(text), start + draw(st.integers(0, 12)))
        scrap = draw(st.one_of(st.sampled_from(SCRAPS), st.text(max_size=4)))
        text = text[:start] + scrap + text[end:]
    return text if draw(st.booleans()) else text[: draw(st.integers(0, len(text)))]


@st.composite
def _new_values(draw: st.DrawFn) -> str:
    """Keep the form of the file and change values: most of these parse."""
    lines = draw(st.sampled_from(TEXTS)).splitlines()
    for _ in range(draw(st.integers(1, 3))):
        place = draw(st.integers(0, len(lines) - 1))
        key, equals, _ = lines[place].partition("=")
        if equals and not key.lstrip().startswith("#"):
            lines[place] = f"{key}= {draw(st.sampled_from(SCRAPS))}"
    return "\n".join(lines)


@given(st.one_of(_mutated(), _new_values()))
def test_a_mutated_file_gives_a_station_or_a_refusal(text: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "shed.toml"
        path.write_bytes(text.encode("utf-8", errors="surrogatepass"))
        try:
            station = load_station(path)
        except StationFileError as error:
            assert error.problems
            assert all(each.expected and each.remedy for each in error.problems)
            assert all("\n" not in each.text for each in error.problems)
        else:
            assert fault_of_plan(station.plan) is None
            assert any(rule.loss_of_air for rule in station.plan.rules)
