"""The camera's lens: its model, its calibration and its file."""
