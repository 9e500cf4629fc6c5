"""For `cargo bench --bench reader`: a JSON array of messages in; how long dateparser takes to find the dates in them, out."""

import json
import sys
import time
from datetime import datetime

import dateparser
from dateparser.search import search_dates

messages = json.load(sys.stdin)
settings = {"PREFER_DATES_FROM": "past", "RELATIVE_BASE": datetime(2027, 3, 9, 14, 40)}
search_dates(messages[0], languages=["en", "es"], settings=settings)  # its data is loaded once
began = time.perf_counter()
for message in messages:
    search_dates(message, languages=["en", "es"], settings=settings)
print(json.dumps({"seconds": time.perf_counter() - began, "version": dateparser.__version__}))
