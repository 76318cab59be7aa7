"""What stands in front of the pages: hosts, origins, headers, sizes, the owner's phone, the health address.

``parts()`` is what ``app.py`` hands to Streamlit's ASGI application, which takes middleware, routes and an error
handler, so that ``streamlit run app.py`` serves all of it.
"""

from brewwater.web.server.parts import parts

__all__ = ["parts"]
