"""numpy, loaded when the first array is needed: most processes of the service never need one."""

from typing import TYPE_CHECKING, Any, TypeAlias

__all__ = ["Floats", "Ints", "np"]

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats: TypeAlias = NDArray[np.float64]
    Ints: TypeAlias = NDArray[np.int64]
else:

    class _Numpy:
        """Stands for numpy, and keeps each name of it that was asked for."""

        def __getattr__(self, name: str) -> Any:
            import numpy  # noqa: ICN001, PLC0415  here, and only here, it is loaded

            found = getattr(numpy, name)
            setattr(self, name, found)
            return found

    np = _Numpy()
    Floats = Ints = Any
