package planview

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config/budget"
	"yardproof/config/design"
)

// Plugs is a proposal for the ports of a plan, with the change of its text. As JSON it
// is the answer of plan --propose ports --format json.
type Plugs struct {
	*design.Plugs
	amended
}

// NewPlugs works out the change of a plan's text.
func NewPlugs(p *design.Plugs, file string, text []byte) (*Plugs, error) {
	v := &Plugs{Plugs: p, amended: amended{Cautions: []string{"Never plug or unplug live: switch the string's power off first.", "Move power leads with their strings where a port's cable carries both."}}}
	if len(p.Labels) == 0 {
		return v, nil
	}
	return v, v.amend(p.Patch, file, text)
}

// Failed says in one sentence that nothing was found where something has to change; "":
// plugs are to be moved, or none has to be.
func (v *Plugs) Failed() string {
	if v.Why == "" {
		return ""
	}
	return "no ports that fit were found; " + v.Why
}

// Print prints it as text, the change last, so that patch takes it as it is; or as json.
func (v *Plugs) Print(w io.Writer, format string) error {
	if format == "json" {
		return textout.JSON(w, v)
	}
	var b strings.Builder
	switch {
	case v.Why != "":
		b.WriteString("No ports that fit were found. Below is why.\n")
		fmt.Fprintf(&b, "  %s\n", v.Why)
	case len(v.Labels) == 0:
		b.WriteString("Nothing has to be moved: every port, controller and lead is within its limits.\n")
	default:
		fmt.Fprintf(&b, "%s to move; fewer would not do.\n", textout.Count(len(v.Moves), "plug"))
	}
	for _, why := range v.Wrong {
		fmt.Fprintf(&b, "  Today: %s\n", why)
	}
	if len(v.Moves) > 0 {
		b.WriteString("\nPlugs to move\n")
		t := textout.NewTable("string", "label", "from", "to")
		for _, m := range v.Moves {
			t.Add(m.String, m.Tag, m.From, m.To)
		}
		t.Print(&b)
	}
	if len(v.Labels) > 0 {
		b.WriteString("\nLabels to print\n")
		t := textout.NewTable("label", "string", "controller", "port", "after", ">universe", ">channel", ">pixels")
		for _, l := range v.Labels {
			t.Add(l.Tag, l.String, l.Controller, l.Port, l.After, strconv.Itoa(l.Universe), strconv.Itoa(l.Channel), strconv.Itoa(l.Pixels))
		}
		t.Print(&b)
	}
	fmt.Fprintf(&b, "\nWhat this rests on\n  Each port within its pixels and the time of one frame, each controller within its universes; a data lead of at most %d m where the plan says where both ends are (common practice, no source).\n", budget.LongestDataLead)
	b.WriteString("  A string whose plug moves takes those behind it along. Strings behind receivers stay.\n")
	v.print(&b)
	_, err := io.WriteString(w, b.String())
	return err
}
