"""A wire between a browser and the desk that can be cut, for pages and worker alike."""

import random
import socket
import threading
from contextlib import suppress
from enum import Enum


class Wire(Enum):
    """What the wire does with a request."""

    PASS = "pass"
    # Nobody listens: the connection is refused.
    REFUSE = "refuse"
    # The connection stands, and nothing ever comes back.
    SWALLOW = "swallow"
    # What is written reaches the desk; the answer does not reach the phone. Reading goes on.
    LOSE = "lose"
    # Every request reaches the desk, and four answers in ten are lost.
    LOSSY = "lossy"


_METHODS = (b"GET ", b"POST ", b"HEAD ")


class CutNetwork:
    """Listens on a port of its own and passes on to ``port``, as its mode has it.

    ``lost`` counts the answers that were thrown away.
    """

    def __init__(self, port: int, seed: int = 7) -> None:
        self._desk = port
        self._lots = random.Random(seed)
        self._open: set[socket.socket] = set()
        self._guard = threading.Lock()
        self._mode = Wire.PASS
        self.lost = 0
        self._listener = self._listen(0)
        self.port = int(self._listener.getsockname()[1])

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def set(self, mode: Wire) -> None:
        """Change the mode; what stands open is cut where nothing may pass any more."""
        if mode is not Wire.REFUSE and self._mode is Wire.REFUSE:
            self._listener = self._listen(self.port)
        if mode is Wire.REFUSE and self._mode is not Wire.REFUSE:
            _close(self._listener)
        self._mode = mode
        if mode is not Wire.PASS:
            self._cut_all()

    def close(self) -> None:
        """End everything."""
        self._mode = Wire.REFUSE
        _close(self._listener)
        self._cut_all()

    def _listen(self, port: int) -> socket.socket:
        listener = socket.socket()
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(("127.0.0.1", port))
        listener.listen(64)
        threading.Thread(target=self._accept, args=[listener], daemon=True).start()
        return listener

    def _accept(self, listener: socket.socket) -> None:
        while True:
            try:
                phone, _address = listener.accept()
            except OSError:
                return
            threading.Thread(target=self._carry, args=[phone], daemon=True).start()

    def _cut_all(self) -> None:
        with self._guard:
            cut, self._open = self._open, set()
        for one in cut:
            _close(one)

    def _keep(self, one: socket.socket) -> None:
        with self._guard:
            self._open.add(one)

    def _carry(self, phone: socket.socket) -> None:
        """One connection of the phone; each request on it has its own fate."""
        self._keep(phone)
        try:
            desk = socket.create_connection(("127.0.0.1", self._desk), timeout=60)
        except OSError:
            _close(phone)
            return
        self._keep(desk)
        fate = {"now": Wire.PASS}
        threading.Thread(target=self._bring_back, args=[desk, phone, fate], daemon=True).start()
        with suppress(OSError):
            while piece := phone.recv(65536):
                if piece.startswith(_METHODS):
                    fate["now"] = self._fate(piece)
                if fate["now"] is not Wire.SWALLOW:
                    desk.sendall(piece)
        _close(desk)
        _close(phone)

    def _fate(self, request: bytes) -> Wire:
        if self._mode is Wire.LOSE and not request.startswith(b"POST "):
            return Wire.PASS
        if self._mode is Wire.LOSSY:
            return self._lots.choices([Wire.PASS, Wire.LOSE], [6, 4])[0]
        return self._mode

    def _bring_back(self, desk: socket.socket, phone: socket.socket, fate: dict[str, Wire]) -> None:
        with suppress(OSError):
            while piece := desk.recv(65536):
                if fate["now"] is Wire.LOSE:
                    self.lost += 1
                    break
                phone.sendall(piece)
        _close(phone)
        _close(desk)


def _close(one: socket.socket) -> None:
    with suppress(OSError):
        one.shutdown(socket.SHUT_RDWR)
    one.close()
