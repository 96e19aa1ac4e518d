"""The CV files on MicroPython: whatever a power failure leaves of one, the CVs have their old values or their new ones."""

from __future__ import annotations

from .support_micropython import EXAMPLES, run

FILES = {"cvs.py": EXAMPLES / "cvs.py"}

#: Values before and after, in both files; then the newer file cut off, or spoiled, in many places.
TORN = """
import gc; gc.disable()
from cvs import FILES, Cvs
def read():
    cvs = Cvs()
    return (cvs.values[2], cvs.pages.get(0x110005, 0), len(cvs.pages)) if cvs.load() else None
cvs = Cvs()
print(read())
cvs.write(3, 10)
cvs.save()
print(read(), cvs.changed)
cvs.write(3, 20)
cvs.put(31, 17)
cvs.put(257 + 5, 99)
cvs.save()
print(read())
name = FILES[cvs.serial & 1]
with open(name, "rb") as file:
    whole = file.read()
seen = []
for length in range(0, len(whole), 7):
    with open(name, "wb") as file:
        file.write(whole[:length])
    seen.append(read())
for at in range(0, len(whole), 13):
    with open(name, "wb") as file:
        file.write(whole[:at] + bytes((whole[at] ^ 0x10,)) + whole[at + 1 :])
    seen.append(read())
print(len(whole), len(seen), seen.count((10, 0, 0)))
with open(name, "wb") as file:
    file.write(whole)
with open(FILES[1 - (cvs.serial & 1)], "wb") as file:
    file.write(b"")
print(read())
again = Cvs()
again.load()
again.write(3, 30)
again.save()
print(read())
"""


def test_power_that_fails_while_cvs_are_saved() -> None:
    first, one, two, torn, other_lost, last = run(TORN, FILES).output.splitlines()
    assert (first, one, two) == ("None", "(10, 0, 0) False", "(20, 99, 1)")
    length, tried, old = map(int, torn.split())
    assert length == 2 + 1024 + 4 + 4 and tried == old > 200
    assert (other_lost, last) == ("(20, 99, 1)", "(30, 99, 1)")


def test_the_newest_file_counts_when_its_number_wraps() -> None:
    script = """
from cvs import Cvs
cvs = Cvs()
cvs.serial = 0xFFFE
for value in (1, 2, 3, 4):
    cvs.write(3, value)
    cvs.save()
    again = Cvs()
    again.load()
    print(again.serial, again.values[2])
"""
    assert run(script, FILES).output.splitlines() == ["65535 1", "0 2", "1 3", "2 4"]
