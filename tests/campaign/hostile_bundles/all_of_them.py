"""Every hostile bundle there is."""

from tests.campaign.hostile_bundles.case import Hostile
from tests.campaign.hostile_bundles.descriptors import descriptor_level
from tests.campaign.hostile_bundles.figures import entry_level
from tests.campaign.hostile_bundles.logs import raw_level
from tests.campaign.hostile_bundles.signatures import signature_level
from tests.campaign.hostile_bundles.zips import zip_level


def every() -> list[Hostile]:
    """All of them."""
    return [
        *zip_level(),
        *descriptor_level(),
        *signature_level(),
        *entry_level(),
        *raw_level(),
    ]
