"""The front end: this file only routes. ``streamlit run app.py`` or ``brewwater app``.

Streamlit finds ``app``, serves it, and runs this same file as the script that draws the pages.
"""

if __name__ == "__main__":
    from brewwater.web.router import main

    main()
else:
    from streamlit.starlette import App

    from brewwater.web.server import parts

    app = App(__file__, **parts())
