"""The grey scale: colour and light of each step, gun by gun, and which control to turn."""
