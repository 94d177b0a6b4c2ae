"""What every treatment step is: a frozen record of parameters that turns one map into the next."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from dataclasses import MISSING, dataclass, fields
from typing import Any, ClassVar, Self

from core.errors import TreatmentError
from core.heightmap import HeightMap
from core.treatment.frame import Frame, Lattice


@dataclass(frozen=True, kw_only=True)
class Step(ABC):
    """One step of a treatment. Subclasses are frozen dataclasses whose fields are the parameters in the TOML.

    Parameters
    ----------
    on : bool, default True
        Whether the step is carried out. A step that is off stays in the list and does nothing.
    """

    do: ClassVar[str]
    """The step's word in the TOML."""

    on: bool = True

    def __post_init__(self) -> None:
        if not isinstance(self.on, bool):
            raise TreatmentError(f"The step “{self.do}” needs “on” as true or false, not {self.on!r}")

    @abstractmethod
    def apply(self, scan: HeightMap) -> HeightMap:
        """The treated map, its history one `Entry` longer.

        Raises
        ------
        TreatmentError
            If the step cannot be carried out on this map.
        """

    @abstractmethod
    def describe(self) -> str:
        """The step in a few words for captions and lists, such as ``"plane levelled"``."""

    def resolve(self, scans: Sequence[Lattice]) -> Self:  # noqa: ARG002 - for steps that look at the whole bench
        """The step with all that depends on the bench settled, so that it does the same to every scan.

        Parameters
        ----------
        scans : sequence of HeightMap or Frame
            All scans on the bench, as they come to this step; only shape, pitch and size are looked at.

        Raises
        ------
        TreatmentError
            If the scans have nothing in common that the step could do.
        """
        return self

    def frame(self, lattice: Lattice) -> Frame:
        """Shape and pitch of a map after this step.

        Raises
        ------
        TreatmentError
            If the step would leave nothing of it.
        """
        return Frame(lattice.shape, lattice.pitch)

    def parameters(self) -> dict[str, Any]:
        """The step as it stands in the TOML: ``do`` first, then every parameter that is set; ``on`` only when off."""
        values = {f.name: getattr(self, f.name) for f in fields(self) if f.name != "on"}
        told: dict[str, Any] = {"do": self.do} | {k: v for k, v in values.items() if v is not None}
        return told if self.on else told | {"on": False}

    @classmethod
    def from_parameters(cls, values: Mapping[str, Any]) -> Self:
        """The step from a TOML table without its ``do``.

        Raises
        ------
        TreatmentError
            If a parameter is unknown, missing or has a value that the step refuses.
        """
        known = {f.name: f for f in fields(cls)}
        for name in values:
            if name not in known:
                raise TreatmentError(
                    f"The step “{cls.do}” has no parameter “{name}”", fix=f"It knows: {', '.join(known)}."
                )
        for name, spec in known.items():
            if spec.default is MISSING and name not in values:
                raise TreatmentError(f"The step “{cls.do}” needs “{name}”")
        try:
            return cls(**values)
        except TypeError as error:
            raise TreatmentError(f"The step “{cls.do}” cannot take these values: {dict(values)}") from error
