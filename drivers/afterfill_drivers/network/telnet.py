"""Telnet with the COM port option: what a bridge and we say beside the line's own bytes; pure.

    data byte 255         | IAC | IAC |
    option                | IAC | WILL, WONT, DO or DONT | option |
    setting, asked        | IAC | SB | 44 | command        | value ... | IAC | SE |
    setting, as it is now | IAC | SB | 44 | command + 100  | value ... | IAC | SE |

Source: RFC 854 (1983), RFC 856 (1983), RFC 2217 (1997); from memory, held against pyserial by
`tests/drivers/test_telnet.py`.
"""

import struct
from dataclasses import dataclass, field
from typing import Literal

IAC, DONT, DO, WONT, WILL, SB, SE = 255, 254, 253, 252, 251, 250, 240
BINARY, ECHO, GO_AHEAD, COM_PORT = 0, 1, 3, 44
SET_BAUD, SET_DATA, SET_PARITY, SET_STOP, SET_CONTROL, PURGE = 1, 2, 3, 4, 5, 12
ANSWER = 100  # added to a command by who has obeyed it
NO_FLOW_CONTROL, PURGE_RECEIVED = 1, 1
PARITIES = {"N": 1, "O": 2, "E": 3}
LONGEST_SETTING = 64  # bytes; what is longer is none of ours

_WE = {BINARY, GO_AHEAD, COM_PORT}  # what we do when asked
_THEY = {BINARY, ECHO, GO_AHEAD, COM_PORT}  # what they may do
_State = Literal["data", "command", "option", "setting", "setting-command"]


def escaped(data: bytes) -> bytes:
    """Bytes of the line as they travel."""
    return data.replace(b"\xff", b"\xff\xff")


def option(verb: int, name: int) -> bytes:
    """One word about an option."""
    return bytes([IAC, verb, name])


def setting(command: int, value: bytes) -> bytes:
    """A request to set the line."""
    return bytes([IAC, SB, COM_PORT, command]) + escaped(value) + bytes([IAC, SE])


def line_settings(baud: int, parity: str, stopbits: float) -> dict[int, bytes]:
    """The value of each command that sets the line to 8 data bits and this."""
    return {
        SET_BAUD: struct.pack(">I", baud),
        SET_DATA: bytes([8]),
        SET_PARITY: bytes([PARITIES[parity]]),
        SET_STOP: bytes([int(stopbits)]),
    }


@dataclass(slots=True)
class Telnet:
    """One connection: takes what comes, gives the line's bytes, and keeps what was agreed.

    `owed`: what must be sent in answer; `settings`: what the bridge says its line is set to;
    `speaks`: whether it knows the COM port option, None until it said."""

    owed: bytes = b""
    settings: dict[int, bytes] = field(default_factory=dict)
    speaks: bool | None = None
    _said: set[tuple[int, int]] = field(default_factory=set)
    _state: _State = "data"
    _verb: int = 0
    _inside: bytearray = field(default_factory=bytearray)

    def greeting(self) -> bytes:
        """What we ask for at the start."""
        wanted = [(WILL, COM_PORT), (WILL, BINARY), (DO, BINARY), (WILL, GO_AHEAD), (DO, GO_AHEAD)]
        self._said.update(wanted)
        return b"".join(option(*it) for it in wanted)

    def feed(self, data: bytes) -> bytes:
        """The line's own bytes in what came."""
        if self._state == "data" and IAC not in data:
            return data
        plain = bytearray()
        for byte in data:
            self._take(byte, plain)
        return bytes(plain)

    def _take(self, byte: int, plain: bytearray) -> None:
        match self._state:
            case "data" if byte == IAC:
                self._state = "command"
            case "data":
                plain.append(byte)
            case "command":
                self._command(byte, plain)
            case "option":
                self._state = "data"
                self._option(self._verb, byte)
            case "setting":
                self._setting(byte)
            case "setting-command":
                self._setting_command(byte)

    def _command(self, byte: int, plain: bytearray) -> None:
        self._state = "data"
        if byte == IAC:
            plain.append(IAC)
        elif byte == SB:
            self._inside.clear()
            self._state = "setting"
        elif WILL <= byte <= DONT:
            self._verb = byte
            self._state = "option"

    def _setting(self, byte: int) -> None:
        if byte == IAC:
            self._state = "setting-command"
        else:
            self._keep(byte)

    def _keep(self, byte: int) -> None:
        if len(self._inside) < LONGEST_SETTING:
            self._inside.append(byte)

    def _setting_command(self, byte: int) -> None:
        if byte == IAC:
            self._state = "setting"
            self._keep(IAC)
            return
        self._state = "data"
        if byte == SE and self._inside[:1] == bytes([COM_PORT]) and len(self._inside) > 1:
            self.settings[self._inside[1] - ANSWER] = bytes(self._inside[2:])

    def _option(self, verb: int, name: int) -> None:
        if name == COM_PORT:
            self.speaks = verb in (DO, WILL)
        if verb in (DO, WILL):
            yes, no, known = (WILL, WONT, _WE) if verb == DO else (DO, DONT, _THEY)
            self._answer(yes if name in known else no, name)

    def _answer(self, verb: int, name: int) -> None:
        """Each word once: two who confirm confirmations would never end."""
        if (verb, name) not in self._said:
            self._said.add((verb, name))
            self.owed += option(verb, name)
