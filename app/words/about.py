"""What the program says about itself: its version, and whose work it stands on."""

from __future__ import annotations

from app.words._catalogue import _


def about_title() -> str:
    """On the page's button."""
    return _("About")


def about_tip() -> str:
    """What the page is for."""
    return _("The version, and the licences of everything that comes with it.")


def version_line(version: str) -> str:
    """The program with its version."""
    return _("Swellmark {version}").format(version=version)


def summary() -> str:
    """What the program does, and what it never does."""
    return _(
        "A coach for recording levels. It listens, measures and advises; "
        "it changes nothing on your interface, and never talks to a network."
    )


def own_licence(licence: str) -> str:
    """The program's own licence."""
    return _("Swellmark itself: {licence}.").format(licence=licence)


def works_title() -> str:
    """Over the list of packages."""
    return _("It stands on the work of others")


def works_headings() -> tuple[str, str, str]:
    """Over the columns of that list."""
    return (_("Package"), _("Version"), _("Licence, as the package states it"))


def licence_unknown() -> str:
    """A package that does not state its licence."""
    return _("not stated by the package")


def not_installed() -> str:
    """A package that is missing here."""
    return _("not installed here")


def works_caution() -> str:
    """What the list cannot know."""
    return _(
        "Packages may carry libraries under licences of their own, such as Qt (LGPL), PortAudio "
        "and libsndfile; their texts lie beside them in each package."
    )
