"""``benchlog page``: the results, seasons and running recordings in a browser."""

from pathlib import Path
from typing import Annotated

import typer

from benchlog.commands.shared import StoreOption, user_errors
from benchlog.core.errors import BenchlogError, reason_of

_FEWEST, _FEWEST_DIFFERENT = 22, 10


def page(
    host: Annotated[
        str, typer.Option(help="Address to listen on; any other than this machine's own requires the token.")
    ] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=1, max=65535, help="Port to listen on.")] = 8127,
    token: Annotated[
        str,
        typer.Option(
            envvar="BENCHLOG_TOKEN",
            help="Token that a browser must show; generated and printed if needed. The process list shows it.",
        ),
    ] = "",
    token_file: Annotated[
        Path | None, typer.Option(metavar="FILE", help="File with the token in its first line: nobody else sees it.")
    ] = None,
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

        token = _token_of(token, token_file)
        # browsers ask for a dozen files at once; that some wait a moment is no news
        logging.getLogger("waitress.queue").setLevel(logging.ERROR)
        # a service manager's way to end it is the user's
        signal.signal(signal.SIGTERM, signal.default_int_handler)
        serve(Settings(host, port, token, store, max_upload_mb), typer.echo)


def _token_of(token: str, file: Path | None) -> str:
    """The token that was named, or the one in a file; "" where none was.

    Raises:
        BenchlogError: both were named, the file cannot be read, or the token could be guessed.
    """
    if file is not None:
        if token:
            raise BenchlogError("--token-file: a token is already given by --token or BENCHLOG_TOKEN; keep one")
        try:
            with file.open(encoding="utf-8", errors="replace") as text:
                token = text.readline(1000).strip()
        except OSError as problem:
            why = reason_of(problem)
            raise BenchlogError(
                f"{file}: the token cannot be read ({why}); name a file whose first line is the token"
            ) from problem
    elif not token:
        return ""
    plain = token.isascii() and token.isprintable() and " " not in token
    # 128 bits: 22 of the 64 letters that secrets.token_urlsafe(16) gives, 32 of 16
    if not plain or len(token) < _FEWEST or len(set(token)) < _FEWEST_DIFFERENT:
        raise BenchlogError(
            f"--token: at least {_FEWEST} characters are needed, {_FEWEST_DIFFERENT} of them different, "
            "without spaces or accents, so that nobody can guess it; without --token one is generated where needed"
        )
    return token
