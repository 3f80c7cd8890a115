"""A made-up scan with a plane that anybody can check in the head."""

from groupscan.records.entries import ScanRecord, ShotRecord

SHA256 = "ab" * 32

# Sheet mm to pixels: 2 px a mm, the sheet's centre at pixel (500, 400), y up.
MM_TO_PX = ((2.0, 0.0, 500.0), (0.0, -2.0, 400.0), (0.0, 0.0, 1.0))


def px(x_mm, y_mm):
    return 500 + 2 * x_mm, 400 - 2 * y_mm


def scan_record(*places_mm, **fields):
    shots = tuple(
        ShotRecord(
            number=i, x_mm=x, y_mm=y, auto_x_mm=x, auto_y_mm=y, x_px=px(x, y)[0], y_px=px(x, y)[1],
            se_mm=0.2, auto_se_mm=0.2, diameter_mm=5.0, confidence=0.9,
        )
        for i, (x, y) in enumerate(places_mm, 1)
    )  # fmt: skip
    return ScanRecord(
        **{
            "session_id": 0, "photo_sha256": SHA256, "photo_name": "end.jpg",
            "image_size_px": (1000, 800), "sheet": "ring-40", "scale_source": "rings",
            "mm_per_px": 0.5, "mm_per_px_se": 0.001, "tilt_deg": 3.0, "residual_px": 0.4,
            "mm_to_px": MM_TO_PX, "lens": {"k1": 0.0, "focal_px": 900.0}, "aims_mm": ((0.0, 0.0),),
            "shaft_mm": 5.0, "shots": shots, **fields,
        }
    )  # fmt: skip
