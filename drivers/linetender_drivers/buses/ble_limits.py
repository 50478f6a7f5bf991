"""How long the Bluetooth library may take."""

from dataclasses import dataclass


@dataclass(frozen=True)
class RadioLimits:
    """How long each call may take, s. What opening a link needs in the worst case stays
    under 30 s together, the time within which a supervisor expects a device to open.

    Attributes:
        scan_s: Looking for a peer (chosen: oximeters advertise several times a second).
        connect_s: Connecting, with the discovery of services (chosen: typically under
            a second, several where the signal is weak).
        call_s: Any other call (chosen).
        disconnect_s: Disconnecting; the Bluetooth service takes 2.2 to 2.7 s for it by
            design (measured with BlueZ 5.66).
        late_start_s: A scan whose start was not answered in time is waited for in the
            background this long, so that it can be stopped (chosen).
    """

    scan_s: float = 8.0
    connect_s: float = 9.0
    call_s: float = 2.0
    disconnect_s: float = 4.0
    late_start_s: float = 120.0
