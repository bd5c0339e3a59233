"""Scripts of the day without signal, in a page's head."""

from django import template
from django.utils.html import format_html_join
from django.utils.safestring import SafeString

from servicedesk.phone_files import PAGE_SCRIPTS, script

register = template.Library()


@register.simple_tag
def phone_script(*names: str) -> SafeString:
    """Script elements in this order, run when the page is read; without names all of a technician's page."""
    rows = ((script(name),) for name in names or PAGE_SCRIPTS)
    return format_html_join("\n", '<script defer src="{}"></script>', rows)
