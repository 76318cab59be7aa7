"""What leaves a plan: the JSON result, sheets, charts, tables and the change calendar. No streamlit in here."""
