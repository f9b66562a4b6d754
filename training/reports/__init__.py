"""What a stored record means: milestones, progress, the next lesson. Reads only, decides nothing."""

from training.reports.eligibility import eligibility, eligibility_json, rules_of
from training.reports.lapses import Ending, Whole, endings
from training.reports.overview import Gap, Lapse, Overview, Refused, Short, overview
