"""A stream of lines that name their values, piece by piece: what one line taught serves the next."""

import numpy as np

from benchlog.log.readers.lines.block import Block
from benchlog.log.readers.lines.forms import Form
from benchlog.log.readers.lines.named import Template, cells_by_template, cells_singly, template_of


class NamedCells:
    """The cells of lines that name them; a line whose names are all there is the model for those that follow."""

    def __init__(self) -> None:
        """Nothing is known yet."""
        self._template: Template | None = None

    def cells(self, block: Block, form: Form) -> tuple[Block, int, int]:
        """Rows of cells, and how many lines were cut short or were none."""
        if self._template is not None:
            known = cells_by_template(block.data, self._template, len(block))
            if known is not None:
                return Block.of(known), 0, 0
        lacking = form.kind == "json" or bool(form.checksum)
        rows, whole, half = cells_singly(block, form.kind, form.columns, lacking)
        if whole.any():
            learned = block.line(int(np.flatnonzero(whole)[-1]))
            template = template_of(form.kind, learned)
            one = cells_by_template(learned + b"\n", template, 1) if template is not None else None
            # a line that lacks a name, or has one more, is no model for the others
            fits = one is not None and one == rows[rows.rfind(b"\n", 0, -1) + 1 :]
            self._template = template if fits else self._template
        return Block.of(rows), int(half.sum()), int((~whole & ~half).sum())
