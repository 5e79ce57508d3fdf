"""Morning Watch's measuring core: logs in, readings and findings out.

inbox file -> readers -> samples (Parquet, one per log and engine) -> sql/events (runs, shifts, idle windows)
-> sql/indicators (readings, one long table) -> states -> findings -> ranked boats.
"""
