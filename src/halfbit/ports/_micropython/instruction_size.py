"""Lengths of the instructions after the address of a vehicle. The rules are the same as in instruction_size.c."""

UNKNOWN = 0
REST = 255  # all bytes that are left, and it does nothing

CONTROL = 1  # instruction classes that may occur only once in a packet (S-9.2.1 C)
ADVANCED = 2
CV = 4


def class_of(byte):
    """The class of an instruction from its first byte; 0 for the classes that may occur more than once."""
    if byte == 0x0F:
        return 0
    if byte < 0x40:
        return CONTROL if byte < 0x20 else ADVANCED
    return CV if byte >= 0xE0 else 0


def size_of(broadcast, data, at, left):
    """Number of bytes of the instruction at ``data[at]`` (S-9.2 B, S-9.2.1 C). May be more than ``left``."""
    byte = data[at]
    even = byte & 0xFE
    if 0x40 <= byte < 0xC0:
        return 1
    if byte < 0x20:
        if even == 0x00 or even == 0x0A or even == 0x0E:
            return 1
        if even == 0x06:  # decoder flags
            return 2 if left >= 2 and not data[at + 1] & 8 else UNKNOWN
        return 2 if even == 0x12 else REST
    if byte < 0x40:
        if byte == 0x3C:  # up to four bytes of functions, to the end of the packet
            return left if 3 <= left <= 6 else REST
        return 2 if byte >= 0x3E else 3 if byte == 0x3D else REST
    if byte >= 0xE0:
        return cv_size(broadcast, data, at, left)
    if byte >= 0xD8:
        return 2 if left >= 2 or byte == 0xDD or byte >= 0xDE else REST
    if byte == 0xC0:
        return 3
    if broadcast and byte == 0xC1 and left >= 4:  # model time and date (RCN-211, from memory)
        if (data[at + 1] < 0x40 and not data[at + 3] & 0x40) or data[at + 1] >> 5 == 2:
            return 4
    return 3 if byte == 0xC2 and left >= 3 else REST  # system time


def cv_size(broadcast, data, at, left):
    """Number of bytes of an instruction of class 111."""
    byte = data[at]
    if byte < 0xF0:
        return 3 if byte & 0x0C != 8 or (left >= 3 and data[at + 2] >= 0xE0) else UNKNOWN
    if byte & 0xFE == 0xF2 or (byte == 0xF9 and broadcast):
        return 2
    return 3 if byte & 0xFE == 0xF4 and left >= 3 else REST


def instruction_size(broadcast, data, at, left, classes):
    """Number of bytes; REST for all that are left; UNKNOWN if it is no instruction. ``classes``: of earlier ones."""
    size = size_of(broadcast, data, at, left)
    if class_of(data[at]) & classes or (size > left and size != REST):
        return UNKNOWN
    return size


def extended_access(broadcast, data, at, left):
    """True for extended CV access (RCN-214, from memory): like the long form, but the packet holds nothing else."""
    if not 0xE4 <= data[at] < 0xF0 or not 4 <= left <= 8:
        return False
    classes = 0
    while left:
        size = instruction_size(broadcast, data, at, left, classes)
        if size == UNKNOWN:
            return True
        if size == REST:
            return False
        classes |= class_of(data[at])
        at += size
        left -= size
        if broadcast:
            return left > 0
    return False
