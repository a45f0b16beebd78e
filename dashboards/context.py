"""What the pages of one server share."""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from dashboards.searches import Searches
from dashboards.settings import Settings
from dashboards.shelf import Shelf
from dashboards.work import Works

if TYPE_CHECKING:
    from benchlog.store import Store
    from dashboards.trays import Trays


@dataclass(slots=True)
class Context:
    """The store, the logs looked at, the work in the background and the files dropped in."""

    settings: Settings
    store: "Store"
    trays: "Trays"
    works: Works = field(default_factory=Works)
    shelf: Shelf = field(default_factory=Shelf)
    searches: Searches = field(default_factory=Searches)

    def close(self) -> None:
        """Let everything go and take the dropped files away."""
        self.works.close()
        self.trays.close()
        self.store.close()
