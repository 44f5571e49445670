"""metersim predicts how a vacuum seed meter lays seeds in the row.

The usual way in is `load_scenario`, `simulate` and `measure`.  What is offered stands in
``__init__.pyi``; each name is loaded when it is first used, so that importing the package, and
the command line, stay quick.
"""

TYPE_CHECKING = False  # as typing.TYPE_CHECKING, without importing typing
if TYPE_CHECKING:
    from typing import Any

__version__ = "0.11.0"


def __getattr__(name: str) -> "Any":
    """Load a name; the first one reads ``__init__.pyi``, which no command needs."""
    import lazy_loader

    here = globals()
    load, _, names = lazy_loader.attach_stub(__name__, __file__)
    here |= {"__getattr__": load, "__all__": [*names, "__version__"]}
    return here[name] if name in here else load(name)


def __dir__() -> "list[str]":
    return list(globals().get("__all__") or __getattr__("__all__"))
