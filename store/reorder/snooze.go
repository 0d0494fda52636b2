package reorder

import "strings"

// MostSnooze is the longest an alert may sleep, in days. Common practice, no source: a
// quarter later somebody should look again.
const MostSnooze = 90

// A Snooze keeps the alert of a part quiet until a day, for a reason, by a person.
type Snooze struct {
	Part, By, Reason string
	Until            Day // quiet up to and including this day
	Level            Level
	Stop             Stop // as they were when it was put to sleep
}

// NewSnooze puts an alert to sleep. It refuses no reason, no name, a day that is not after
// today, or one more than MostSnooze days away.
func NewSnooze(a Alert, by, reason string, today, until Day) (Snooze, error) {
	switch {
	case strings.TrimSpace(by) == "":
		return Snooze{}, &BadInput{"by", "", "is missing", "scan a badge"}
	case strings.TrimSpace(reason) == "":
		return Snooze{}, &BadInput{"reason", "", "is missing", "say in a few words why this can wait"}
	case until <= today:
		return Snooze{}, &BadInput{"until", until.String(), "is not after today, " + today.String(), "give a later day"}
	case until > today+MostSnooze:
		return Snooze{}, &BadInput{"until", until.String(), "is too far away", "give at most " + (today + MostSnooze).String()}
	}
	return Snooze{a.Part, strings.TrimSpace(by), strings.TrimSpace(reason), until, a.Level, a.Stop}, nil
}

// Quiet says whether the snooze still covers the alert today. It wakes after its day, and
// at once when the alert is worse than the one that was put to sleep.
func (s Snooze) Quiet(a Alert, today Day) bool {
	return s.Part == a.Part && today <= s.Until && !worse(a, s.Level, s.Stop)
}

// worse: a higher level, something that stops where nothing did, or an earlier day.
func worse(a Alert, level Level, stop Stop) bool {
	if a.Level != level {
		return a.Level > level
	}
	return a.Stop.Known && (!stop.Known || a.Stop.Day < stop.Day)
}

// A Sent is the last message about a part that went out.
type Sent struct {
	Day   Day
	Level Level
	Stop  Stop
}

// Due says whether an alert is to be sent today: at most once a day unless it worsens, not
// while it sleeps, and never when there is nothing to say. last and sleep may be nil.
func Due(a Alert, last *Sent, sleep *Snooze, today Day) bool {
	if a.Level == Enough || sleep != nil && sleep.Quiet(a, today) {
		return false
	}
	return last == nil || today > last.Day || worse(a, last.Level, last.Stop)
}
