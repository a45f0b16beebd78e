"""What a page says where there is nothing to show yet, and what to do about it."""

NO_RECORDS = (
    "No sheet is filed yet. Drop a log and its plan in below, check them, and save the result; or in a terminal: "
    "benchlog check LOG --plan PLAN --save"
)
NO_RECORDS_OF_BIKE = "No sheet of this bike is filed. Choose another bike, or drop in a log of this one."
NO_RECORDING = (
    "Nothing is being recorded on this machine. Start one in a terminal: benchlog record PORT --out LOG.csv, or "
    "benchlog acceptance PORT --plan PLAN for the guided test. Without a logger, benchlog standin gives a port to try. "
    "This page shows it within a second."
)
NO_SEASON = (
    "There is nothing to draw yet: a season is made from saved results. Check a log and save it; two or more records "
    "at different dates show a trend."
)
NO_COPY = (
    "No copy of this log is kept here, only its hash, so it cannot be drawn. Drop the log and its plan in on the "
    "results page to see it again."
)
NO_SUCH_PAGE = "There is no such page. The sheets on file are listed under Results."
