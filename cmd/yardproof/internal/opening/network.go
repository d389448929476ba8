package opening

import (
	"fmt"
	"math"
	"slices"

	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config"
	"yardproof/sacn/listener"
)

// verdict says in one sentence where the evening stands.
func verdict(against, open int) string {
	switch {
	case against > 0 && open > 0:
		return fmt.Sprintf("%s against it, and %d more to check.", stands(against), open)
	case against > 0:
		return stands(against) + " against it."
	case open > 0:
		return textout.Count(open, "thing") + " to check first."
	}
	return "Nothing that is known here stands against it. The people in the yard say go."
}

func stands(n int) string {
	if n == 1 {
		return "1 thing stands"
	}
	return fmt.Sprintf("%d things stand", n)
}

var whenDataStops = map[config.OnLoss]string{
	config.OnLossHolds:      "holds its last picture: it stays lit when the sender stops",
	config.OnLossDark:       "goes dark",
	config.OnLossOwnPattern: "shows a pattern of its own: nobody's limits hold then",
}

// onLoss says what each controller does when its data stops: what was seen counts more
// than what the plan says.
func (f *Facts) onLoss() Part {
	p := Part{Title: "When data stops", State: Go}
	unknown, unseen := 0, 0
	for _, c := range f.Plan.Controllers {
		checked, _ := f.Seen(c.Name, config.SeenOnLoss()...)
		seen, word := config.OnLoss(checked), ""
		switch {
		case seen != "" && c.OnLoss != config.OnLossUnknown && seen != c.OnLoss:
			word = whenDataStops[seen] + fmt.Sprintf("; the plan says %q, mend it", c.OnLoss)
		case seen != "":
			word = whenDataStops[seen] + " (seen)"
		case whenDataStops[c.OnLoss] != "":
			word = whenDataStops[c.OnLoss] + " (the plan says so; nobody looked)"
			unseen++
		default:
			word = "nobody knows"
			unknown++
		}
		p.Items = append(p.Items, c.Name+": "+word)
	}
	switch {
	case len(f.Plan.Controllers) == 0:
		return Part{Title: p.Title, State: Check, Says: "The plan names no controller", Do: "Pull the network cable of each for ten seconds, and look."}
	case unknown > 0:
		p.State, p.Says = Check, "What "+textout.Count(unknown, "controller does", "controllers do")+" is not known"
	case unseen > 0:
		p.State, p.Says = Check, textout.Count(unseen, "controller")+" known from the plan alone"
	default:
		p.Says = "Seen for every controller"
		return p
	}
	p.Do = "Pull the network cable for ten seconds, and look. Save what you saw on the page: Yard, Controllers."
	return p
}

// levels says at which level every string may be white at once: what sends the show
// knows no such limit.
func (f *Facts) levels() Part {
	duty := make([]float64, len(f.Plan.Strings))
	for i := range duty {
		duty[i] = 1
	}
	c := f.Budget.CapSpread(duty)
	p := Part{Title: "Levels and fuses", State: Go, Says: "Every string white at once stays within fuses and supplies"}
	if c.Level < 1 {
		p.State = Check
		p.Says = fmt.Sprintf("Every string white at once: at most %.0f %%", math.Floor(c.Level*100))
		p.Items = append(p.Items, "What binds: "+c.By)
		p.Do = "What sends the show does not know this limit. Set its level at most there, or in the controllers."
	}
	p.Items = append(p.Items, "A level protects nothing: a noisy data line can light everything. Only a fuse protects the wire.")
	return p
}

// others says who else sends on the plan's universes.
func (f *Facts) others() Part {
	p := Part{Title: "Who else sends", State: Go}
	unicast := f.unicast()
	switch {
	case f.Heard == nil:
		return Part{Title: p.Title, State: Check, Says: "Not listened for", Do: "Open this sheet on the page while yardproof runs, or give --interface."}
	case len(f.Heard.Others) == 0:
		p.Says = "Nobody was heard on " + f.Heard.Where
	default:
		p.Says = "Another source was heard on " + f.Heard.Where
		for _, c := range f.Heard.Others {
			p.Items = append(p.Items, fmt.Sprintf("universe %d: %q at %s, priority %d", c.Universe, c.Name, c.Address, c.Priority)+wins(c, len(f.Sending) > 0))
		}
		p.State, p.Do = Check, "Is each of them the sender of the show? Stop every other one."
		if len(f.Sending) > 0 {
			p.State, p.Do = NoGo, "Two senders on one universe fight. End one of them before people come."
		}
	}
	if len(unicast) > 0 {
		p.Items = append(p.Items, "Not measured here: "+textout.Numbered("universe", unicast)+", sent to controllers by address. Nobody else can hear that.")
	}
	return p
}

func wins(c listener.CompetingSource, we bool) string {
	switch {
	case c.SameCID:
		return ", a copy of this program"
	case !we:
		return ""
	case c.Precedence == listener.Theirs:
		return ", it wins"
	case c.Precedence == listener.Ours:
		return ", ours wins"
	}
	return ", either may win"
}

func (f *Facts) unicast() (numbers []uint16) {
	for _, u := range f.Plan.Map().Universes {
		if u.Address.IsValid() {
			numbers = append(numbers, u.Number)
		}
	}
	slices.Sort(numbers)
	return slices.Compact(numbers)
}

// handOver says what this program still sends, how it lets go, and whether it was seen
// to be silent.
func (f *Facts) handOver() Part {
	p := Part{Title: "Hand-over", State: Go}
	if len(f.Sending) > 0 {
		return Part{Title: p.Title, State: Check,
			Says: "This program still sends " + textout.Numbered("universe", f.Sending),
			Items: []string{"How it lets go: it goes dark, then tells the end of each stream in three packets (ANSI E1.31-2018 clause 6.2.6). Receivers release at once.",
				"If it is killed or its cable is out, receivers notice after 2.5 s (clause 6.7.1)."},
			Do: "End it (Ctrl-C, or systemctl stop) before the show's sender begins. Then print this sheet again with --interface: it listens whether it is silent."}
	}
	p.Says = "This program does not run"
	switch e := f.Ended; {
	case e == nil:
		p.State = Check
		p.Items = append(p.Items, "How it ended last is not known: receivers notice a missing end after 2.5 s.")
	default:
		if !e.Terminated {
			p.State = Check
		}
		p.Items = append(p.Items, fmt.Sprintf("It ended at %s on %s: %s.", e.Time.In(f.Zone).Format("2006-01-02 15:04:05"), textout.Numbered("universe", e.Universes), e.Says))
	}
	unicast := f.unicast()
	switch h := f.Heard; {
	case h == nil:
		p.State, p.Do = Check, "Print this sheet with --interface: it listens whether this program is silent."
	case len(h.Own) > 0:
		p.State, p.Says = NoGo, "This program's stream is still heard on "+textout.Numbered("universe", h.Own)
		p.Do = "Another copy of it runs, here or elsewhere with the same state directory. End it."
	case h.NotOwn != "":
		p.State = Check
		p.Items = append(p.Items, "Whether it is silent was not measured: "+h.NotOwn+".")
	default:
		p.Says += ", and it was heard to be silent on " + h.Where
		if len(unicast) > 0 {
			p.Items = append(p.Items, "Not measured here: "+textout.Numbered("universe", unicast)+", sent to controllers by address.")
		}
	}
	return p
}
