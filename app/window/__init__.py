"""The window: Qt, and only Qt. Widgets show a snapshot and compute nothing about sound."""
