"""Whether a link to the broker may carry readings or orders: nobody on the way can change them."""

from ipaddress import ip_address

from linetender.settings.problems import Problem
from linetender.settings.station_file import BrokerSettings
from linetender.settings.toml_file import TomlFile


def is_guarded(broker: BrokerSettings) -> bool:
    """Say whether the link is encrypted, or never leaves this computer."""
    return broker.tls or is_loopback(broker.host)


def is_loopback(host: str) -> bool:
    """Say whether a host is this computer, without asking a resolver."""
    if host.lower().rstrip(".") == "localhost":
        return True
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return False


def unguarded(toml: TomlFile) -> Problem:
    """Make the Problem of a link that is not."""
    expected = "readings of a second box need TLS, or a broker on this computer"
    remedy = "set tls = true, with the broker's TLS port"
    return toml.problem(("broker", "tls"), expected, remedy, toml.at(("broker", "tls")))
