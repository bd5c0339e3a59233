"""The frame of a table: wider than the page it scrolls by itself, by keyboard too."""

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

register = template.Library()


@register.simple_block_tag
def framed(content: SafeString) -> SafeString:
    """``{% framed %}<table>…</table>{% endframed %}``"""
    return format_html(
        '<div class="table-wrap" tabindex="0" role="group" aria-label="{}">{}</div>',
        _("A table that may be wider than the page"),
        content,
    )
