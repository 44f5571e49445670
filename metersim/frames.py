"""Tables for pandas, which need not be installed for anything else."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd


def dataframe(data: Mapping[str, Any] | Sequence[Mapping[str, Any]]) -> pd.DataFrame:
    """A table of pandas that shares no memory with what it is made of.

    Parameters
    ----------
    data : mapping, or sequence of mappings
        Columns by name, or rows with the same names.

    Raises
    ------
    ImportError
        Without pandas.
    """
    try:
        import pandas as pd
    except ImportError as error:
        raise ImportError(
            "a table needs pandas, which cannot be imported; "
            "install the extra 'notebook': pip install '.[notebook]'"
        ) from error
    return pd.DataFrame(data)
