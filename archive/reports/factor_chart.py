"""The fit of a factor k drawn: the common days with the line through them, and k of each month."""

from __future__ import annotations

from html import escape

from archive.reports.factor import FactorReport

__all__ = ["factor_chart"]

_SIDE, _LEFT, _TOP, _GAP, _FOOT = 360, 60, 40, 80, 60


def factor_chart(report: FactorReport) -> str:
    """Return the drawing as SVG."""
    width, height = _LEFT + 2 * _SIDE + _GAP + 20, _TOP + _SIDE + _FOOT
    fit = report.fit
    sigma = "" if fit.sigma is None else f" ± {fit.sigma:.3f}"
    title = f"{report.observer}, {report.instrument}: k = {fit.k:.3f}{sigma}, {fit.days} days"
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}" '
            'font-family="sans-serif" font-size="13">',
            f"<title>{escape(title)}</title>",
            f'<rect width="{width}" height="{height}" fill="#fff"/>',
            f'<text x="{_LEFT}" y="24">{escape(title)}</text>',
            *_days(report),
            *_months(report),
            "</svg>\n",
        ]
    )


def _days(report: FactorReport) -> list[str]:
    """Return the left part: the other number against 10 g + s."""
    most_x = max(count for _, count, _ in report.pairs) * 1.05
    most_y = max(*(number for _, _, number in report.pairs), report.fit.k * most_x)
    dots = [
        f'<circle cx="{_LEFT + _SIDE * count / most_x:.1f}" cy="{_TOP + _SIDE * (1 - number / most_y):.1f}" r="3" '
        'fill="#b35c00" fill-opacity="0.6"/>'
        for _, count, number in report.pairs
    ]
    end = _TOP + _SIDE * (1 - report.fit.k * most_x / most_y)
    line = f'<path d="M{_LEFT},{_TOP + _SIDE}L{_LEFT + _SIDE},{end:.1f}" stroke="#000" fill="none"/>'
    return [*_frame(_LEFT, f"10 g + s, to {most_x:.0f}", f"{report.against}, to {most_y:.0f}"), line, *dots]


def _months(report: FactorReport) -> list[str]:
    """Return the right part: k of each month in order, and the line of the whole."""
    left, months = _LEFT + _SIDE + _GAP, report.fit.months
    most = max(max(month.k for month in months), report.fit.k) * 1.2
    whole = _TOP + _SIDE * (1 - report.fit.k / most)
    dots = [
        f'<circle cx="{left + _SIDE * (number + 0.5) / len(months):.1f}" '
        f'cy="{_TOP + _SIDE * (1 - month.k / most):.1f}" r="4" fill="#b35c00">'
        f"<title>{month.month}: {month.k:.2f}, {month.days} days</title></circle>"
        for number, month in enumerate(months)
    ]
    line = f'<path d="M{left},{whole:.1f}h{_SIDE}" stroke="#000" fill="none"/>'
    span = f"months, {months[0].month} to {months[-1].month}"
    return [*_frame(left, span, f"k, to {most:.2f}"), line, *dots]


def _frame(left: int, below: str, beside: str) -> list[str]:
    middle = _TOP + _SIDE / 2
    return [
        f'<rect x="{left}" y="{_TOP}" width="{_SIDE}" height="{_SIDE}" fill="none" stroke="#888"/>',
        f'<text x="{left + _SIDE / 2}" y="{_TOP + _SIDE + 24}" text-anchor="middle">{escape(below)}</text>',
        f'<text transform="translate({left - 14},{middle}) rotate(-90)" text-anchor="middle">{escape(beside)}</text>',
    ]
