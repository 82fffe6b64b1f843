"""Makes README's picture of a recording: ``python -m tests.traces.figures FILE.png``."""

import sys
from pathlib import Path

from api.recordings import invented
from api.recordings.document import document
from api.recordings.picture import picture
from engine.diagnosis import shipped
from tests.desk.browser import chromium


def main() -> None:
    """Draw the first invented recording, as a browser shows it on light."""
    one = invented.load_all()[0]
    drawn = picture(document(shipped().knowledge, invented.invent(shipped(), one)), one.title)
    with chromium() as browser:
        page = browser.new_page(color_scheme="light", device_scale_factor=1.5)
        page.set_content(drawn)
        Path(sys.argv[1]).write_bytes(page.locator("svg").screenshot())


if __name__ == "__main__":
    main()
