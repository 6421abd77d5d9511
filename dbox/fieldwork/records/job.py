"""What does the paper of a job say besides its numbers? Free text, none of it computed."""

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class JobRecord:
    """The record of a job; an empty text is left blank, to be written in by hand.

    Parameters
    ----------
    permit, address, date, weather, who : str
        Permit number, address, date of the work, weather of the day, who did it.
    system, bedrooms, feed : str
        Type of system, number of bedrooms, and how the box is fed.
    bedding, cover, riser, lid, seals : str
        What the box stands on, how deep it lies, its riser, how the lid is fastened, its seals.
    north, benchmark : str
        Where north lies on the sketch; what the heights are tied to.
    ties : tuple of str
        Distances of the box from fixed points.
    method, photo, recheck : str
        How heights were read; where the photo of the still water is; when to look again.
    notes, exceptions : str
        What else there is to say; what departs from the permit or the plan.
    invented : bool
        Whether the data are made up; every sheet then says so.
    """

    permit: str = ""
    address: str = ""
    date: str = ""
    weather: str = ""
    who: str = ""
    system: str = ""
    bedrooms: str = ""
    feed: str = ""
    bedding: str = ""
    cover: str = ""
    riser: str = ""
    lid: str = ""
    seals: str = ""
    north: str = ""
    benchmark: str = ""
    ties: tuple[str, ...] = ()
    method: str = ""
    photo: str = ""
    recheck: str = ""
    notes: str = ""
    exceptions: str = ""
    invented: bool = False
