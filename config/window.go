package config

import (
	"fmt"
	"strings"
	"time"
)

// Window is a part of each day in local time. The zero Window is the whole day.
type Window struct{ from, to int } // minutes after midnight

const windowForm = `^([01][0-9]|2[0-3]):[0-5][0-9]-([01][0-9]|2[0-3]):[0-5][0-9]$`

// parseWindow reads "16:00-22:00"; "22:00-02:00" goes past midnight.
func parseWindow(text string) (Window, error) {
	from, to, ok := strings.Cut(text, "-")
	a, err1 := time.Parse("15:04", from)
	b, err2 := time.Parse("15:04", to)
	if !ok || err1 != nil || err2 != nil || a.Equal(b) || len(from) != 5 || len(to) != 5 {
		return Window{}, fmt.Errorf(`%s is not a part of the day: write it as "16:00-22:00"`, quote(text))
	}
	return Window{a.Hour()*60 + a.Minute(), b.Hour()*60 + b.Minute()}, nil
}

// Contains reports whether a moment is in the window, by its own location's clock.
func (w Window) Contains(t time.Time) bool {
	m := t.Hour()*60 + t.Minute()
	switch {
	case w.from == w.to:
		return true
	case w.from < w.to:
		return w.from <= m && m < w.to
	default:
		return m >= w.from || m < w.to
	}
}

// Opens returns when the window begins each day, as 16:00.
func (w Window) Opens() string { return fmt.Sprintf("%02d:%02d", w.from/60, w.from%60) }
