"""Which skills visits need, and who lacks one."""

from collections import defaultdict
from collections.abc import Iterable

from jobs.models import Skill, Visit, VisitTerms
from sites.models import BackflowAssembly, Pump, User

Plant = Skill.Plant


class SkillNeeds:
    """Reads the rules of these sites and visits in five queries at most, then answers by visit.

    A visit needs what its kind needs (at some sites only for their plant), what its site asks of every visit, and
    what was noted for it alone.
    """

    def __init__(self, site_ids: Iterable[int], visit_ids: Iterable[int] = ()) -> None:
        skills = list(Skill.objects.all())
        self.rules = [skill for skill in skills if skill.kinds]
        self.by_site: dict[int, set[str]] = defaultdict(set)
        self.by_visit: dict[int, set[str]] = defaultdict(set)
        self.with_plant: dict[str, set[int]] = {}
        if not skills:
            return
        names = {skill.pk: skill.name for skill in skills}
        sites, visits = list(site_ids), list(visit_ids)
        self.with_plant = {
            Plant.PUMP: set(Pump.objects.filter(supply__site__in=sites).values_list("supply__site_id", flat=True)),
            Plant.BACKFLOW: set(BackflowAssembly.objects.filter(site__in=sites).values_list("site_id", flat=True)),
        }
        asked = VisitTerms.skills.through.objects.filter(visitterms__site__in=sites)
        for site_id, skill_id in asked.values_list("visitterms__site_id", "skill_id"):
            self.by_site[site_id].add(names[skill_id])
        noted = Visit.skills.through.objects.filter(visit__in=visits)
        for visit_id, skill_id in noted.values_list("visit_id", "skill_id"):
            self.by_visit[visit_id].add(names[skill_id])

    @classmethod
    def of(cls, visits: Iterable[Visit]) -> "SkillNeeds":
        rows = list(visits)
        return cls({visit.site_id for visit in rows}, [visit.pk for visit in rows])

    def at(self, site_id: int, kind: str) -> frozenset[str]:
        """Names of the skills that a visit of this kind needs at this site."""
        ruled = {skill.name for skill in self.rules if kind in skill.kinds and self._there(skill, site_id)}
        return frozenset(ruled | self.by_site[site_id])

    def of_visit(self, visit: Visit) -> frozenset[str]:
        return self.at(visit.site_id, visit.kind) | self.by_visit[visit.pk]

    def _there(self, skill: Skill, site_id: int) -> bool:
        return skill.plant == Plant.ANY or site_id in self.with_plant[skill.plant]


def skills_of(technician: User) -> frozenset[str]:
    """Names of what this technician may do. Wants profile and skills fetched along."""
    return frozenset(skill.name for skill in technician.technician_profile.skills.all())
