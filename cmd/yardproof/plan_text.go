package main

import (
	"bytes"
	"cmp"
	"fmt"
	"io"
	"strconv"
	"strings"

	"yardproof/config/budget"
)

// powerCautions stand wherever the program speaks of supplies, fuses and wire.
// Common practice; where a rule has a number, the local code has the say.
var powerCautions = []string{
	"Local codes prevail: where they differ from this page, follow them.",
	"Mains wiring is for licensed people. Outdoor outlets belong behind an RCD (GFCI).",
	"Switch off, isolate and prove dead before touching; supplies hold their charge for a while.",
	"A DC-rated fuse at the start of every feed, sized for its wire. A level cap in software protects nothing.",
	"Check polarity and volts before connecting. Never join the V+ of two supplies; keep the returns common.",
}

// text prints the address map and the budgets for a person.
func (v *planView) text(out io.Writer) error {
	var b bytes.Buffer
	v.heading(&b)
	section := func(title string, t *table) {
		if len(t.rows) > 0 {
			fmt.Fprintf(&b, "\n%s\n", title)
			t.print(&b)
		}
	}
	section("Strings (from and to are universe/channel; amperes and volts at full white)", v.stringTable())
	section("Feeds at full white", v.feedTable())
	section("Feeders at full white", v.feederTable())
	section("Supplies at full white (limit: the share for continuous use)", v.supplyTable())
	section("Controllers' power inputs at full white", v.inputTable())
	section("Data lines", v.portTable())
	section("Universes", v.universeTable())
	if n := v.Network; n.Universes > 0 {
		fmt.Fprintf(&b, "\nNetwork: %s at %s frames a second: %s packets/s, %s Mbit/s on the wire\n",
			count(n.Universes, "universe"), plain(v.plan.Network.Rate), number(n.PacketsPerSecond, 0), number(n.BitsPerSecond/1e6, 2))
	}
	if losses := v.losses(); len(losses) > 0 {
		b.WriteString("\nIf one feed is lost at full white\n")
		for _, l := range losses {
			fmt.Fprintf(&b, "  %s\n", l)
		}
	}
	section("Chips, as the table has them where the plan says nothing", v.chipTable())
	b.WriteString("\nWhere the figures come from\n")
	for _, source := range budget.Sources() {
		fmt.Fprintf(&b, "  %s\n", source)
	}
	if len(v.Notes) > 0 {
		b.WriteString("\nNot judged\n")
		for _, line := range v.unjudged() {
			fmt.Fprintf(&b, "  %s\n", line)
		}
	}
	if len(v.Supplies) > 0 {
		b.WriteString("\nCautions\n")
		for _, c := range powerCautions {
			fmt.Fprintf(&b, "  %s\n", c)
		}
	}
	_, err := out.Write(b.Bytes())
	return err
}

func (v *planView) heading(b *bytes.Buffer) {
	name := v.Name
	if name == "" {
		name = v.plan.File
	}
	parts := []string{count(len(v.Strings), "string"), count(v.plan.Pixels(), "pixel"), count(len(v.Universes), "universe")}
	if n := len(v.plan.Controllers); n > 0 {
		parts = append(parts, count(n, "controller"))
	}
	fmt.Fprintf(b, "%s\n%s\n", name, strings.Join(parts, ", "))
}

func (v *planView) stringTable() *table {
	t := newTable("string", "label", "controller", "port", ">pixels", ">nulls", "order", "from", "to", ">full white", ">lowest", ">at pixel", ">safe level", "because of")
	for _, s := range v.Strings {
		from, to := "", ""
		if n := len(s.Segments); n > 0 {
			first, last := s.Segments[0], s.Segments[n-1]
			from = fmt.Sprintf("%d/%d", first.Universe, first.FirstChannel)
			to = fmt.Sprintf("%d/%d", last.Universe, last.FirstChannel+last.Channels-1)
		}
		nulls := ""
		if s.NullPixels > 0 {
			nulls = strconv.Itoa(s.NullPixels)
		}
		at := ""
		if s.LowestVoltsPixel > 0 {
			at = strconv.Itoa(s.LowestVoltsPixel)
		}
		t.add(s.Name, s.Label, s.Controller, s.Port, strconv.Itoa(s.Pixels), nulls, string(s.Order), from, to,
			known(s.FullWhiteAmps, 2, "A"), known(s.LowestVolts, 2, "V"), at, number(s.SafeLevelPercent, 0)+" %", s.SafeLevelBy)
	}
	return t
}

func (v *planView) feedTable() *table {
	t := newTable("string", "at", "from", ">full white", ">fuse", ">its load", ">safe level")
	for _, s := range v.Strings {
		for _, f := range s.Feeds {
			if f.Supply == "" && f.FuseAmps == 0 {
				continue
			}
			t.add(s.Name, f.At, cmp.Or(f.From, f.Supply, "-"), known(f.FullWhiteAmps, 2, "A"), known(f.FuseAmps, -1, "A"), known(f.FuseLoadPercent, 0, "%"), number(f.SafeLevelPercent, 0)+" %")
		}
	}
	return t
}

func (v *planView) feederTable() *table {
	t := newTable("feeder", "supply", ">full white", ">fuse", ">its load", ">at its end", ">safe level")
	for _, f := range v.Feeders {
		t.add(f.Name, cmp.Or(f.Supply, "-"), known(f.FullWhiteAmps, 2, "A"), known(f.FuseAmps, -1, "A"), known(f.FuseLoadPercent, 0, "%"), known(f.Volts, 2, "V"), number(f.SafeLevelPercent, 0)+" %")
	}
	return t
}

func (v *planView) supplyTable() *table {
	t := newTable("supply", ">full white", ">limit", ">load", "")
	for _, s := range v.Supplies {
		note := ""
		if s.Unknown {
			note = "and strings whose amperes are not known"
		}
		t.add(s.Name, known(s.FullWhiteAmps, 2, "A"), known(s.LimitAmps, 2, "A"), known(s.LoadPercent, 0, "%"), note)
	}
	return t
}

func (v *planView) inputTable() *table {
	t := newTable("controller", ">full white", ">limit", ">load")
	for _, c := range v.Controllers {
		if c.LimitAmps > 0 {
			t.add(c.Name, known(c.FullWhiteAmps, 2, "A"), known(c.LimitAmps, 2, "A"), known(c.LoadPercent, 0, "%"))
		}
	}
	return t
}

func (v *planView) portTable() *table {
	t := newTable("controller", "port", "output", ">pixels", ">refresh", ">at most")
	for _, p := range v.Ports {
		t.add(p.Controller, p.Port, p.Output, strconv.Itoa(p.Pixels), known(p.RefreshMS, 2, "ms"), known(p.MaxRateHz, 1, "Hz"))
	}
	return t
}

func (v *planView) chipTable() *table {
	t := newTable("chip", ">rate", ">bits", ">reset", ">white", ">dark", "source")
	for _, c := range v.Chips {
		t.add(c.Name, known(c.Kilobits, -1, "kbit/s"), known(float64(c.Bits), -1, ""), known(c.ResetUS, -1, "us"),
			known(1000*c.AmpsPerPixel, 1, "mA"), known(1000*c.IdleAmpsPerPixel, 1, "mA"), c.Source)
	}
	return t
}

// unjudged gathers what could not be judged: notes that say the same of several
// strings are one line.
func (v *planView) unjudged() []string {
	var order []string
	subjects := map[string][]string{}
	for _, n := range v.Notes {
		subject, what, ok := strings.Cut(n.What, ": ")
		if !ok {
			subject, what = n.Where, n.What
		}
		if subjects[what] == nil {
			order = append(order, what)
		}
		subjects[what] = append(subjects[what], subject)
	}
	lines := make([]string, len(order))
	for i, what := range order {
		lines[i] = names(subjects[what], 8) + ": " + what
	}
	return lines
}

// names writes so many names, and how many more there are.
func names(all []string, most int) string {
	if len(all) <= most {
		return strings.Join(all, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(all[:most], ", "), len(all)-most)
}

// losses says what fails when a feed is gone, where that is more than the string
// that it alone feeds.
func (v *planView) losses() []string {
	var lines []string
	for _, s := range v.Strings {
		for _, f := range s.Feeds {
			if len(s.Feeds) > 1 && f.Lost != nil && len(f.Lost.Fails) > 0 {
				lines = append(lines, fmt.Sprintf("%s, feed at %s: %s", s.Name, f.At, strings.Join(f.Lost.Fails, "; ")))
			}
		}
	}
	return lines
}

func (v *planView) universeTable() *table {
	t := newTable(">universe", "destination", ">channels", "controllers", "kept for")
	for _, u := range v.Universes {
		var keeps []string
		for _, k := range v.plan.Reserved {
			if k.Universe == u.Universe {
				keeps = append(keeps, strings.TrimSpace(k.Channels()+" "+k.What))
			}
		}
		t.add(strconv.Itoa(u.Universe), u.Destination, strconv.Itoa(u.Channels), strings.Join(u.Controllers, ", "), strings.Join(keeps, "; "))
	}
	return t
}

// known writes a number with its unit, or a dash when it is not known. A negative
// number of decimals writes it as it is.
func known(v float64, decimals int, unit string) string {
	switch {
	case v == 0:
		return "-"
	case decimals < 0:
		return plain(v) + " " + unit
	}
	return number(v, decimals) + " " + unit
}

// number writes a computed number with so many decimals.
func number(v float64, decimals int) string { return strconv.FormatFloat(v, 'f', decimals, 64) }

// plain writes a number as somebody would have typed it.
func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
