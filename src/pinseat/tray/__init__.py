"""Tray: relief, block-out, stops and body, made from the survey and proven clear of every pin."""
