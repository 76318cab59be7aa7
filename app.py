"""The front end: this file only routes. ``streamlit run app.py`` or ``brewwater app``."""

from brewwater.web.router import main

main()
