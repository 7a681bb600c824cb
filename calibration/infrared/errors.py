"""What the infrared science refuses."""

from calibration.errors import CalibrationError


class InfraredError(CalibrationError):
    """A shot, a surface or a target that gives no honest temperature."""
