"""The place of the Dash pages. There are none yet; the HTML report of ``benchlog check --report`` shows a result."""
