"""Pictures of the audit as accessible SVG, drawn by matplotlib.

matplotlib keeps settings and a list of fonts in the home directory. Here it gets an
empty folder that is gone again after its import: no stranger's settings are read, nothing
is left behind, and it asks for nothing where the home directory cannot be written. Its
fonts are not used (see ``renderer``).
"""

import os
from tempfile import TemporaryDirectory

_KEPT = os.environ.get("MPLCONFIGDIR")
with TemporaryDirectory(prefix="charts-") as _folder:
    os.environ["MPLCONFIGDIR"] = _folder
    import matplotlib.font_manager

    # Both are remembered at first use; later nothing may look for the folder.
    _FOLDERS = (matplotlib.get_configdir(), matplotlib.get_cachedir())
    del os.environ["MPLCONFIGDIR"]
if _KEPT is not None:
    os.environ["MPLCONFIGDIR"] = _KEPT
