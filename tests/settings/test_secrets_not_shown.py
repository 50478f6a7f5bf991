"""A password that stands where none belongs is refused, and not repeated to anybody."""

from pathlib import Path

import pytest

from linetender.settings.load import load_station
from linetender.settings.problems import StationFileError
from linetender.settings.shipped import shipped

SECRET = "planted-password-4d1e"


@pytest.mark.parametrize(
    ("text", "key"),
    [
        (f"[broker]\nhost = 'h'\npassword = '{SECRET}'\n", "broker.password"),
        (f"[broker]\nhost = 'h'\npasswort = '{SECRET}'\n", "broker.passwort"),
        (f"[broker]\nhost = 'h'\nuser = ['{SECRET}']\n", "broker.user"),
        (f"[broker]\nhost = 'h'\npassword_file = ['{SECRET}']\n", "broker.password_file"),
        (f"[broker]\nhost = 'h'\nauth = {{ x = '{SECRET}' }}\n", "broker.auth"),
        (f"[[broker]]\nhost = 'h'\nkey = '{SECRET}'\n", "broker"),
        (f"[mqtt]\nPassword = '{SECRET}'\n", "mqtt"),
        (f"[recording]\ndirectory = 'r'\napi_token = '{SECRET}'\n", "recording.api_token"),
    ],
)
def test_it_is_named_and_not_shown(text: str, key: str, tmp_path: Path) -> None:
    path = tmp_path / "shed.toml"
    path.write_text(f"{shipped('config/demo.toml').read_text(encoding='utf-8')}\n{text}")
    with pytest.raises(StationFileError) as caught:
        load_station(path)
    assert [one.key for one in caught.value.problems] == [key]
    shown = [one.as_dict() for one in caught.value.problems]
    assert SECRET not in f"{caught.value}{shown}"


def test_what_is_no_secret_is_shown(tmp_path: Path) -> None:
    path = tmp_path / "shed.toml"
    demo = shipped("config/demo.toml").read_text(encoding="utf-8")
    path.write_text(f"{demo}\n[broker]\nhost = 'h'\nport = 'high'\n")
    with pytest.raises(StationFileError, match=r'broker\.port = "high"') as caught:
        load_station(path)
    assert [one.value for one in caught.value.problems] == ['"high"']
