"""A second, independent world: logs of motorcycle accessory installs with their truth, drawn from seeds.

It shares no code and no assumption with the analysis that is judged against it; see README.md beside this file.
"""

from .case import BEHAVIOURS, FAULTS, GRADES, Case, Log, draw
from .setting_out import draw_only_logger
from .truth import check_ids

__all__ = ["BEHAVIOURS", "FAULTS", "GRADES", "Case", "Log", "check_ids", "draw", "draw_only_logger"]
