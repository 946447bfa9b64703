"""The sharpening service."""
