"""``benchlog page``: the results, seasons and running recordings in a browser."""

from typing import Annotated

import typer

from benchlog.commands.shared import StoreOption, user_errors
from benchlog.core.errors import BenchlogError


def page(
    host: Annotated[
        str, typer.Option(help="Address to listen on; any other than this machine's own requires the token.")
    ] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=1, max=65535, help="Port to listen on.")] = 8127,
    token: Annotated[str, typer.Option(help="Token that a browser must show; generated and printed if needed.")] = "",
    store: StoreOption = None,
    max_upload_mb: Annotated[
        int, typer.Option("--max-upload-mb", min=1, max=1 << 20, help="Largest log that is accepted, MB.")
    ] = 2048,
) -> None:
    """Show results, seasons and running recordings as pages in a browser, until Ctrl-C."""
    with user_errors():
        import logging
        import signal

        from dashboards.serving import serve
        from dashboards.settings import Settings

        if token and (len(token) < 8 or not token.isascii() or not token.isprintable() or " " in token):
            raise BenchlogError(
                "--token: at least 8 characters are needed, without spaces or accents; without --token "
                "one is made up where it is needed"
            )
        # browsers ask for a dozen files at once; that some wait a moment is no news
        logging.getLogger("waitress.queue").setLevel(logging.ERROR)
        # a service manager's way to end it is the user's
        signal.signal(signal.SIGTERM, signal.default_int_handler)
        serve(Settings(host, port, token, store, max_upload_mb), typer.echo)
