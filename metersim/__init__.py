"""metersim predicts how a vacuum seed meter lays seeds in the row.

The usual way in is `load_scenario`, `simulate` and `measure`.  What is offered stands in
``__init__.pyi``; each name is loaded when it is first used, so that importing the package, and
help on the command line, stay quick.
"""

import lazy_loader

__version__ = "0.9.0"
__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
__all__ += ["__version__"]
