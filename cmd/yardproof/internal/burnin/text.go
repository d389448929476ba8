package burnin

import (
	"fmt"
	"strings"
	"time"

	"yardproof/cmd/yardproof/internal/textout"
)

// Says tells in a few words how far a burn-in is.
func (r Report) Says() string {
	text := fmt.Sprintf("%s of %s served", hours(r.Least), hours(r.Target))
	switch r.State {
	case Waiting:
		text += ", waiting for " + r.Opens
	case Held:
		text += ", waiting: a person holds the display"
	case Stalled:
		text += ", stalled: no frames go out"
	case Finished:
		text += ", finished"
	}
	if n := len(r.Behind); n > 0 {
		text += fmt.Sprintf(", %s behind the others: %s", textout.Count(n, "string"), textout.Some(r.Behind, 3))
	}
	if len(r.Silent) > 0 && r.State != Stalled && r.State != Finished {
		text += fmt.Sprintf(", NO PACKETS on %s", textout.Numbered("universe", r.Silent))
	}
	if r.Limited != "" && r.State != Finished {
		text += fmt.Sprintf(", white at %.0f %% at most: %s", 100*unmeasuredLevel, r.Limited)
	}
	if r.Unkept != "" {
		text += ", NOT ON DISK: " + r.Unkept
	}
	return text
}

func hours(d time.Duration) string { return fmt.Sprintf("%.1f h", d.Hours()) }

const barWidth = 30

// Bar draws it on one line.
func (r Report) Bar() string {
	full := int(barWidth * min(1, r.Least.Seconds()/r.Target.Seconds()))
	step := "dark"
	if r.Step.Pattern != "" {
		step = r.Step.Pattern
	}
	return fmt.Sprintf("[%s%s] %s  %s  cycle %d", strings.Repeat("#", full), strings.Repeat("-", barWidth-full), r.Says(), step, r.Cycles+1)
}
