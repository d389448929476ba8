package main

import (
	"bytes"
	"fmt"
	"io"
	"strconv"
	"strings"
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
	section("Strings (from and to are universe/channel)", v.stringTable())
	section("Feeds at full white", v.feedTable())
	section("Supplies at full white", v.supplyTable())
	section("Ports", v.portTable())
	section("Universes", v.universeTable())
	if n := v.Network; n.Universes > 0 {
		fmt.Fprintf(&b, "\nNetwork: %s at %s frames a second: %s packets/s, %s Mbit/s on the wire\n",
			count(n.Universes, "universe"), number(v.plan.Network.Rate, 1), number(n.PacketsPerSecond, 0), number(n.BitsPerSecond/1e6, 2))
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
	pixels := 0
	for _, s := range v.Strings {
		pixels += s.Pixels
	}
	parts := []string{count(len(v.Strings), "string"), count(pixels, "pixel"), count(len(v.Universes), "universe")}
	if n := len(v.plan.Controllers); n > 0 {
		parts = append(parts, count(n, "controller"))
	}
	fmt.Fprintf(b, "%s\n%s\n", name, strings.Join(parts, ", "))
}

func (v *planView) stringTable() *table {
	t := newTable("string", "label", "controller", "port", ">pixels", ">nulls", "order", "from", "to", ">full white", ">lowest", ">at pixel", ">safe level")
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
		if s.LowestVoltsPixel != nil {
			at = strconv.Itoa(*s.LowestVoltsPixel)
		}
		t.add(s.Name, s.Label, s.Controller, s.Port, strconv.Itoa(s.Pixels), nulls, s.Order, from, to,
			known(s.FullWhiteAmps, 2, "A"), known(s.LowestVolts, 2, "V"), at, known(s.SafeLevelPercent, 0, "%"))
	}
	return t
}

func (v *planView) feedTable() *table {
	t := newTable("string", "at", "supply", ">full white", ">fuse", ">safe level")
	for _, s := range v.Strings {
		for _, f := range s.Feeds {
			if f.Supply == nil && f.FuseAmps == nil {
				continue
			}
			t.add(s.Name, f.At, orUnknown(f.Supply), known(f.FullWhiteAmps, 2, "A"), known(f.FuseAmps, 1, "A"), known(f.SafeLevelPercent, 0, "%"))
		}
	}
	return t
}

func (v *planView) supplyTable() *table {
	t := newTable("supply", ">full white", ">limit", ">load")
	for _, s := range v.Supplies {
		t.add(s.Name, known(s.FullWhiteAmps, 2, "A"), known(s.LimitAmps, 2, "A"), known(s.LoadPercent, 0, "%"))
	}
	return t
}

func (v *planView) portTable() *table {
	t := newTable("controller", "port", ">pixels", ">refresh", ">at most")
	for _, p := range v.Ports {
		t.add(p.Controller, p.Port, strconv.Itoa(p.Pixels), known(p.RefreshMS, 2, "ms"), known(p.MaxRateHz, 1, "Hz"))
	}
	return t
}

func (v *planView) universeTable() *table {
	t := newTable(">universe", "destination", ">channels", "controllers", "keeps")
	for _, u := range v.Universes {
		var keeps []string
		for _, k := range v.plan.Keep {
			if k.Universe == u.Universe {
				keeps = append(keeps, fmt.Sprintf("%d-%d %s", k.First, k.Last, k.What))
			}
		}
		t.add(strconv.Itoa(u.Universe), u.Destination, strconv.Itoa(u.Channels), strings.Join(u.Controllers, ", "), strings.Join(keeps, "; "))
	}
	return t
}

// known writes a number with its unit, or a dash when it is not known.
func known(v *float64, decimals int, unit string) string {
	if v == nil {
		return "-"
	}
	return number(*v, decimals) + " " + unit
}

func orUnknown(s *string) string {
	if s == nil {
		return "-"
	}
	return *s
}

// number writes at most so many decimals, without trailing zeros when whole.
func number(v float64, decimals int) string {
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if whole, zeros, ok := strings.Cut(s, "."); ok && strings.Trim(zeros, "0") == "" {
		return whole
	}
	return s
}

// plain writes a number as somebody would have typed it.
func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
