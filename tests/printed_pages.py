"""What stands on a PDF, read by pypdfium2: an implementation of its own."""

import numpy as np
import pypdfium2 as pdfium
from scipy import ndimage

MM_PER_POINT = 25.4 / 72


def page_sizes_mm(contents):
    return [
        (page.get_width() * MM_PER_POINT, page.get_height() * MM_PER_POINT)
        for page in pdfium.PdfDocument(contents)
    ]


def words_of(contents):
    """All words, in one line: where they break is no matter."""
    pages = [page.get_textpage().get_text_range() for page in pdfium.PdfDocument(contents)]
    return " ".join(" ".join(pages).split())


def text_edges_mm(contents):
    """Left, right, top and bottom of the text of each page: mm from the page's left and top."""
    edges = []
    for page in pdfium.PdfDocument(contents):
        text = page.get_textpage()
        boxes = np.array([text.get_charbox(i) for i in range(text.count_chars())])
        boxes = boxes[(boxes[:, 2] > boxes[:, 0]) & (boxes[:, 3] > boxes[:, 1])] * MM_PER_POINT
        tall = page.get_height() * MM_PER_POINT
        edges.append(
            (
                boxes[:, 0].min(),
                boxes[:, 2].max(),
                tall - boxes[:, 3].max(),
                tall - boxes[:, 1].min(),
            )
        )
    return edges


def blobs_mm(contents, colour, *, page=0, px_per_mm=12):
    """Centres of the spots of one colour, (n, 2) mm from the page's left and top."""
    sheet = pdfium.PdfDocument(contents)[page]
    picture = sheet.render(scale=px_per_mm * MM_PER_POINT).to_numpy()[:, :, ::-1].astype(int)
    wanted = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)])
    labels, count = ndimage.label((np.abs(picture[:, :, -3:] - wanted) < 12).all(axis=2))
    places = ndimage.center_of_mass(np.ones(labels.shape), labels, range(1, count + 1))
    sizes = ndimage.sum_labels(np.ones(labels.shape), labels, range(1, count + 1))
    kept = np.array(places)[np.asarray(sizes) > 30]
    return (kept[:, ::-1] + 0.5) / px_per_mm
