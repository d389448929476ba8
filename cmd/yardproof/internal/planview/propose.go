package planview

import (
	"fmt"
	"io"
	"strings"

	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config/budget"
	"yardproof/config/design"
)

// Feeding is a proposal for the feeds of a plan, with the change of its text. As JSON
// it is the answer of plan --propose --format json.
type Feeding struct {
	*design.Proposal
	GapPercent float64 `json:"gap_percent"` // how far it may be above the cheapest
	amended
}

// NewFeeding works out the change of a plan's text.
func NewFeeding(p *design.Proposal, file string, text []byte) (*Feeding, error) {
	v := &Feeding{Proposal: p, GapPercent: 100 * p.Cost.Gap(), amended: amended{Cautions: proposalCautions()}}
	if len(p.Strings) == 0 {
		return v, nil
	}
	return v, v.amend(p.Patch, file, text)
}

func proposalCautions() []string {
	return append([]string{"A proposal helps a licensed person decide. It releases nothing: have it confirmed before anything is cut or switched on."}, budget.Cautions()...)
}

// Print prints it as text, the change last, so that patch takes it as it is; or as json.
func (v *Feeding) Print(w io.Writer, format string) error {
	if format == "json" {
		return textout.JSON(w, v)
	}
	var b strings.Builder
	at := "at full white"
	if v.Level < 1 {
		at = fmt.Sprintf("at %.3g %%", 100*v.Level)
	}
	if v.LoseOne {
		at += ", also with any one feed lost"
	}
	if len(v.Strings) == 0 {
		if v.Failed() != "" {
			b.WriteString("Nothing that holds was found. Below is why.\n")
		} else {
			fmt.Fprintf(&b, "Nothing has to change: every string has its volts, fuses and protection %s.\n", at)
		}
	} else {
		fmt.Fprintf(&b, "Proposed for %s, %s: cost %s, today %s.\n", textout.Count(len(v.Strings), "string"), at, money(v.Cost.Proposed), money(v.Cost.Today))
		if v.GapPercent > 0 {
			fmt.Fprintf(&b, "Time ran out: the cheapest may cost up to %.1f %% less. Give --seconds more.\n", v.GapPercent)
		} else {
			b.WriteString("Of all that was tried nothing that holds costs less.\n")
		}
	}
	for _, s := range v.Supplies {
		fmt.Fprintf(&b, "\nNew supply %s: %g V, %g W, %s; its price is %s. Its mains is for a licensed person.\n", s.Name, s.Volts, s.Watts, s.Where, money(s.Price))
	}
	for _, f := range v.Feeders {
		fmt.Fprintf(&b, "\nFeeder %s: %s, %g A fuse.\n  Why: %s\n", f.Name, f.Wire, f.FuseAmps, f.Because)
	}
	for _, s := range v.Strings {
		v.printString(&b, s)
	}
	for i, r := range v.Refused {
		if i == 0 {
			b.WriteString("\nNot proposed\n")
		}
		fmt.Fprintf(&b, "  %s: %s\n", r.Name, r.Why)
	}
	if v.Bill != nil {
		b.WriteString("\nBill: what it takes beside what the plan has today, and spare pixels of all of it\n")
		printBill(&b, v.Bill)
	}
	b.WriteString("\nWhat this rests on\n")
	if len(v.Assumed) > 0 {
		fmt.Fprintf(&b, "  Assumed, with prices of no shop (common practice, no source; write stock: with yours): %s.\n", strings.Join(v.Assumed, "; "))
	}
	b.WriteString("  Costs are of leads, feeders, fuses, connectors and new supplies, in hand or not; work is not counted.\n")
	b.WriteString("  Volts hold with wire, joints and pixels at the worst side of the plan's tolerance; fuses at their share for long.\n")
	b.WriteString("  Each is tried from its supply of today and the two nearest others. Leads are cut to the next decimetre, half a metre at least.\n")
	v.print(&b)
	_, err := io.WriteString(w, b.String())
	return err
}

// Failed says in one sentence that nothing was found where something has to change; "":
// a change is proposed, or none is needed.
func (v *Feeding) Failed() string {
	if len(v.Strings) > 0 || len(v.Refused) == 0 {
		return ""
	}
	first := v.Refused[0]
	return fmt.Sprintf("no feeds that hold were found for %s; %s: %s", textout.Count(len(v.Refused), "string"), first.Name, first.Why)
}

func (v *Feeding) printString(b *strings.Builder, s design.String) {
	fmt.Fprintf(b, "\n%s: %s, cost %s, today %s\n", s.Name, textout.Count(len(s.Feeds), "feed"), money(s.Cost.Proposed), money(s.Cost.Today))
	for _, why := range s.Because {
		fmt.Fprintf(b, "  Today: %s\n", why)
	}
	t := textout.NewTable("  feed", "from", "lead", ">metres", ">fuse", ">flows", "change")
	for _, f := range s.Feeds {
		t.Add("  "+f.At, f.From, f.Wire, textout.Number(f.Metres), textout.Number(f.FuseAmps)+" A", textout.Fixed(f.Amps, 2)+" A", f.Change)
	}
	t.Print(b)
	for _, c := range s.Refused {
		fmt.Fprintf(b, "  Cheaper by %s and refused, %s: %s\n", money(s.Cost.Proposed-c.Cost), c.What, c.Why)
	}
	if s.Places > 0 {
		fmt.Fprintf(b, "  Feeds were tried at %s.\n", textout.Count(s.Places, "place"))
	}
}

// HowFar says how far a search is.
func HowFar(stage design.Stage, done, of int) string {
	what := "%d of %s looked at"
	if stage == design.Cheapening {
		what = "%d of %s looked at again, for less"
	}
	return fmt.Sprintf(what, done, textout.Count(of, "string"))
}

func money(v float64) string { return textout.Fixed(v, 2) }
