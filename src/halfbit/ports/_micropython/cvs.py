"""The CVs of a vehicle: the rules of the decoder in C, and two files in which they outlive a power failure.

Reading allocates no memory. CV 257 to 512 are pages, selected by CV 31 and 32; a page takes memory when it is written.
"""

from binascii import crc32

FILES = ("cvs_a.bin", "cvs_b.bin")
CONFIGURATION = 0x02  # CV 29 at the first start: 28 steps, primary address


class Cvs:
    """``version`` and ``maker`` are CV 7 and 8, which no packet can change; 13 is for do-it-yourself (from memory)."""

    def __init__(self, version=1, maker=13):
        self.values = bytearray(1024)  # CV 1 first
        self.pages = {}
        self.held = -1  # a value for CV 17 that waits for a write to CV 18
        self.changed = False  # set when a CV changes; the caller clears it
        self.serial = 0  # of the newest file
        self.values[6] = version
        self.values[7] = maker
        self.defaults()

    def defaults(self):
        """Set all CVs but 7 and 8 to their defaults (S-9.2.2)."""
        for i in range(1024):
            if i != 6 and i != 7:
                self.values[i] = 0
        self.values[0] = 3
        self.values[16] = 192
        self.values[28] = CONFIGURATION
        self.values[30] = 16
        self.pages.clear()
        self.held = -1
        self.changed = True

    def hard_reset(self):
        """Set CV 29, 31 and 32 to their defaults and CV 19 to 0 (S-9.2.1 C)."""
        self.put(29, CONFIGURATION)
        self.put(31, 16)
        self.put(32, 0)
        self.put(19, 0)

    def get(self, cv):
        """The value of CV 1 to 1024; -1 if it does not exist."""
        if cv < 257 or cv > 512:
            return self.values[cv - 1]
        if self.values[30] < 16:  # reserved (S-9.2.2, CV 31)
            return -1
        return self.pages.get(self.key(cv), 0)

    def key(self, cv):
        """The number of an indexed CV in ``pages``."""
        return self.values[30] << 16 | self.values[31] << 8 | cv - 257

    def put(self, cv, value):
        """Set an existing CV without any check."""
        if self.get(cv) == value:
            return
        if 257 <= cv <= 512:
            self.pages[self.key(cv)] = value
        else:
            self.values[cv - 1] = value
        self.changed = True

    def locked(self):
        """True if only CV 15 can be written (S-9.2.2, CV 15 and 16)."""
        return self.values[14] != self.values[15]

    def after(self, cv, value, bit):
        """The value of a CV after a write; ``bit`` is -1 for a whole byte."""
        if bit < 0:
            return value
        old = self.held if cv == 17 and self.held >= 0 else self.get(cv)
        return old | 1 << bit if value else old & ~(1 << bit)

    def write(self, cv, value):
        """Write a CV like a packet does. False if refused."""
        if cv == 7 or cv == 8 or (cv != 15 and self.locked()) or self.get(cv) < 0:
            return False
        if (cv == 1 and value > 127) or (cv == 17 and not 192 <= value < 232) or (cv == 31 and value < 16):
            return False
        if cv == 17:  # takes effect when CV 18 is written (S-9.2.1 C)
            self.held = value
            return True
        if cv == 18 and self.held >= 0:
            self.put(17, self.held)
            self.held = -1
        self.put(cv, value)
        if cv == 1:  # S-9.2.2, CV 1; S-9.2.3 E, address-only mode
            self.put(29, self.values[28] & ~0x20)
            self.put(19, 0)
        return True

    def save(self):
        """Write all CVs to the older one of the two files.

        If power fails meanwhile, this file is not whole, and the other one still has the values before. Allocates
        memory, and can take some ten ms.
        """
        self.changed = False
        self.serial = (self.serial + 1) & 0xFFFF
        content = bytearray(self.serial.to_bytes(2, "little") + self.values)
        for key in self.pages:
            content += (key << 8 | self.pages[key]).to_bytes(4, "little")
        content += crc32(content).to_bytes(4, "little")
        with open(FILES[self.serial & 1], "wb") as file:
            file.write(content)

    def load(self):
        """Read the newest whole file. False if there is none: this is the first start."""
        best = b""
        for name in FILES:
            try:
                with open(name, "rb") as file:
                    content = file.read()
            except OSError:
                continue
            if len(content) < 1030 or crc32(content[:-4]).to_bytes(4, "little") != content[-4:]:
                continue
            ahead = (int.from_bytes(content[:2], "little") - int.from_bytes(best[:2], "little")) & 0xFFFF
            if not best or ahead < 0x8000:
                best = content
        if not best:
            return False
        self.serial = int.from_bytes(best[:2], "little")
        self.values[:] = best[2:1026]
        self.pages.clear()
        for at in range(1026, len(best) - 4, 4):
            self.pages[int.from_bytes(best[at + 1 : at + 4], "little")] = best[at]
        self.changed = False
        return True
