"""Made-up shots for the tests of this folder."""

import numpy as np
import pandas as pd


def shots_table(xy, *, aim=(0.0, 0.0), **columns):
    """Shots as the records give them, all found by the scan unless said otherwise."""
    xy = np.asarray(xy, float)
    table = pd.DataFrame(
        {
            "number": np.arange(1, len(xy) + 1),
            "x_mm": xy[:, 0],
            "y_mm": xy[:, 1],
            "auto_x_mm": xy[:, 0],
            "auto_y_mm": xy[:, 1],
            "aim_x_mm": aim[0],
            "aim_y_mm": aim[1],
            "se_mm": 0.3,
            "head": pd.Series([""] * len(xy), dtype="string"),
            "arrow": pd.Series([""] * len(xy), dtype="string"),
        }
    )
    return table.assign(**columns)
