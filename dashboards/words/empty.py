"""What a page says where there is nothing to show yet, and what to do about it."""

NO_RECORDS = "No sheet is filed yet. Drop a log and its plan in below, check them, and file the result."
#: What each does, and how it is typed.
NO_RECORDS_COMMANDS = (
    ("In a terminal", "benchlog check LOG --plan PLAN --save"),
    ("A folder of old logs", "benchlog records import FOLDER --plan PLAN"),
)
NO_RECORDS_OF_BIKE = "No sheet of this bike is filed. Choose another bike, or drop in a log of this one."
NO_RECORDING = (
    "Nothing is being recorded on this machine. Start a recording in a terminal, and this page shows it within a "
    "second."
)
NO_RECORDING_COMMANDS = (
    ("Which ports there are", "benchlog ports"),
    ("Record a logger", "benchlog record PORT --out LOG.csv"),
    ("The guided test", "benchlog acceptance PORT --plan PLAN"),
    ("Without a logger: a port to try", "benchlog standin"),
)
NO_SEASON = (
    "There is nothing to draw yet: a season is built from the sheets on file. Check a log and save it on the results "
    "page; six readings over two months and more show a trend."
)
NO_SEASON_OF_BIKE = "No sheet of this bike is filed, so there is no season of it. The sheets on file are under Results."
NO_CHANGE = "No change is noted, and the readings show none."
NO_COPY = (
    "No copy of this log is kept here, only its hash, so it cannot be drawn. Drop the log and its plan in on the "
    "results page to see it again."
)
NO_SUCH_PAGE = "There is no such page. The sheets on file are listed under Results."
