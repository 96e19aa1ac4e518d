"""The momentum of the Python model's speed: motion.py of the MicroPython port, on this machine, around the model."""

from __future__ import annotations

from typing import Any

from halfbit.decoder import MultiFunctionDecoder
from halfbit.instruction import Context

from .support_files import PORTS, load

__all__ = ["ModelMotion", "motion"]

motion: Any = load(PORTS / "_micropython" / "motion.py")


class ModelMotion:
    """What motion.py reads of a vehicle, as the model has it now."""

    def __init__(self, model: MultiFunctionDecoder) -> None:
        self.cvs = self
        values = model.cvs.state().values
        self.values = bytes(values.get(cv, 0) for cv in range(1, 96))
        self.mode = model.mode is not Context.OPERATIONS
        self.step, self.steps, self.emergency = model.speed.step, model.speed.steps, model.speed.emergency
        restriction = model.state().vehicle.restriction
        self.restriction = -1 if restriction is None else restriction
        self._forward = int(model.forward)

    def forward(self) -> int:
        """1 if the vehicle must run forward."""
        return self._forward
