package planview

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"yardproof/cmd/yardproof/internal/planfile"
	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/config/protection"
	"yardproof/sacn"
)

// A sheet is what to type into one controller, and the labels for its pigtails.
type sheet struct {
	Plan       string
	Controller string
	Blocks     []sheetBlock
	Ports      portTable // on paper, instead of the blocks of many ports
	Labels     []sheetLabel
	Faults     []protection.Finding // by string, what is of no string last
	Twice      []protection.Finding
	Cautions   []string
}

// sheetBlock is the settings of the controller itself or of a string on a port,
// grouped by what they are for.
type sheetBlock struct {
	Title  string
	Port   string
	String string
	Tag    string
	Groups []settings
}

type settings struct {
	For  string
	List []setting
}

// setting is one field to fill in; what was found there is for the pen.
type setting struct{ What, Planned, Brief string } // Brief: for a table; "": as planned

type sheetLabel struct {
	Port, Name, Tag string
	Lines           []string
}

// Sheet prints the settings sheet of a controller as text, csv or html.
func (v *View) Sheet(w io.Writer, name, format string) error {
	s, err := v.newSheet(name)
	if err != nil {
		return err
	}
	if format == "csv" {
		return s.csv(w) // every row by itself
	}
	s.gather()
	if format == "html" {
		s.tabulate()
		return sheetPage.Execute(w, s)
	}
	return s.text(w)
}

// gather moves what is the same on all ports into one block, so that it is read
// once and a controller fits on a page.
func (s *sheet) gather() {
	ports := s.Blocks[1:]
	if len(ports) < 2 {
		return
	}
	all := sheetBlock{Title: "All ports"}
	for g := range ports[0].Groups {
		common := settings{For: ports[0].Groups[g].For}
		for _, set := range ports[0].Groups[g].List {
			everywhere := true
			for _, b := range ports[1:] {
				everywhere = everywhere && g < len(b.Groups) && slices.Contains(b.Groups[g].List, set)
			}
			if everywhere {
				common.List = append(common.List, set)
			}
		}
		all.Groups = append(all.Groups, common)
		for _, b := range ports {
			if g < len(b.Groups) {
				b.Groups[g].List = slices.DeleteFunc(b.Groups[g].List, func(set setting) bool { return slices.Contains(common.List, set) })
			}
		}
	}
	s.Blocks = slices.Insert(s.Blocks, 1, all)
}

func (v *View) newSheet(name string) (*sheet, error) {
	i := slices.IndexFunc(v.plan.Controllers, func(c *config.Controller) bool { return c.Name == name })
	if i < 0 {
		var names []string
		for _, c := range v.plan.Controllers {
			names = append(names, c.Name)
		}
		return nil, planfile.NoSuch("controller", name, names)
	}
	c := v.plan.Controllers[i]
	s := &sheet{Plan: cmp.Or(v.Name, v.plan.File), Controller: c.Name, Cautions: budget.Cautions()}
	s.Blocks = append(s.Blocks, v.controllerBlock(c))

	var strs []*config.String
	for _, str := range v.plan.Strings {
		if str.Controller == c {
			strs = append(strs, str)
		}
	}
	slices.SortStableFunc(strs, func(a, b *config.String) int {
		return cmp.Or(comparePorts(a.Port, b.Port), comparePorts(a.Receiver, b.Receiver), comparePorts(a.Output, b.Output))
	})
	for i, str := range strs {
		block := v.stringBlock(str)
		if i == 0 || str.Port != strs[i-1].Port {
			v.addDataLines(&block, c, str.Port)
		}
		s.Blocks = append(s.Blocks, block)
		s.Labels = append(s.Labels, v.label(str))
	}
	s.Faults, s.Twice = v.Protection.Near(v.plan, c)
	nth := map[string]int{"": len(strs)}
	for i, str := range strs {
		nth[str.Name] = i
	}
	for _, list := range [][]protection.Finding{s.Faults, s.Twice} { // as the ports are
		slices.SortStableFunc(list, func(a, b protection.Finding) int { return cmp.Compare(nth[a.String], nth[b.String]) })
	}
	return s, nil
}

func (v *View) controllerBlock(c *config.Controller) sheetBlock {
	b := sheetBlock{Title: "Controller " + c.Name}
	add := b.group("Network")
	if !c.Address.IsValid() {
		add("data", "E1.31 by multicast")
	} else {
		add("data", "E1.31 by unicast")
		add("IP address", "%s", c.Address)
	}
	var universes []uint16
	for _, u := range v.addr.Universes {
		if slices.Contains(u.Controllers, c) {
			universes = append(universes, u.Number)
		}
	}
	add("universes", "%s", textout.Ranges(universes))
	if v.plan.Network.SyncUniverse > 0 {
		add("synchronization universe", "%d", v.plan.Network.SyncUniverse)
	}
	add = b.group("Loss of data, and power")
	switch c.OnLoss {
	case config.OnLossHolds:
		add("when data stops", "it holds the last picture: a dead laptop leaves the lights burning")
	case config.OnLossDark:
		add("when data stops", "it goes dark")
	case config.OnLossOwnPattern:
		add("when data stops", "it shows a pattern of its own")
	default:
		add("when data stops", "not known: unplug the network on a dim pattern and look after ten seconds")
	}
	if c.MaxAmps > 0 {
		add("power input, at most", "%s A", textout.Number(c.MaxAmps))
	}
	return b
}

// group begins a group of settings and returns what adds to it.
func (b *sheetBlock) group(purpose string) (add func(what, format string, args ...any)) {
	n := len(b.Groups)
	b.Groups = append(b.Groups, settings{For: purpose})
	return func(what, format string, args ...any) {
		g := &b.Groups[n]
		g.List = append(g.List, setting{What: what, Planned: fmt.Sprintf(format, args...)})
	}
}

// brief says the setting that was added last in few words.
func (b *sheetBlock) brief(format string, args ...any) {
	list := b.Groups[len(b.Groups)-1].List
	list[len(list)-1].Brief = fmt.Sprintf(format, args...)
}

// addDataLines adds the time on the data lines of a port, which its strings share.
func (v *View) addDataLines(b *sheetBlock, c *config.Controller, port string) {
	add := b.group("Data line of the port")
	for _, p := range v.Ports {
		if p.Controller != c.Name || p.Port != port || p.RefreshMS == 0 {
			continue
		}
		what := "data time"
		if p.Output != "" {
			what += " of output " + p.Output
		}
		add(what, "%s ms for %s: at most %s Hz", textout.Fixed(p.RefreshMS, 2), textout.Count(p.Pixels, "pixel"), textout.Fixed(p.MaxRateHz, 1))
		b.brief("%s ms", textout.Fixed(p.RefreshMS, 2))
	}
}

func (v *View) stringBlock(s *config.String) sheetBlock {
	b := sheetBlock{Title: "Port " + textout.Dash(portText(s)) + ": string " + s.Name, Port: portText(s), String: s.Name, Tag: s.Label}
	if s.Label != "" {
		b.Title += " (tag " + s.Label + ")"
	}
	add := b.group("Address")
	if segs := v.Strings[s.Index].Segments; len(segs) > 0 {
		last := segs[len(segs)-1]
		add("begins at", "universe %d, channel %d", s.Universe, s.Channel)
		b.brief("%d/%d", s.Universe, s.Channel)
		add("ends at", "universe %d, channel %d", last.Universe, last.FirstChannel+last.Channels-1)
		b.brief("%d/%d", last.Universe, last.FirstChannel+last.Channels-1)
	}
	add("a universe holds", "%s", universeSize(s))

	add = b.group("Count")
	nulls := s.NullPixels
	if s.NullsByPlan && nulls > 0 {
		add("pixels", "%d: %d of the string, and %d ahead that the plan keeps dark", s.Pixels+nulls, s.Pixels, nulls)
		nulls = 0
	} else {
		add("pixels", "%d", s.Pixels)
	}
	add("null pixels ahead of them", "%d", nulls)
	add("pixels that show one address", "%d", s.Copies)

	add = b.group("What the port makes of it")
	add("chip", "%s", v.chipText(s))
	if s.PortOrder == "" {
		add("colour order", "not in the plan: set RGB for proving, and note what was set")
	} else {
		add("colour order", "%s", s.PortOrder)
	}
	add("the plan sends", "%s", s.Order)
	if s.WhiteDerived {
		add("white", "made by the controller out of R, G and B")
	} else if s.ChannelsPerPixel() == 4 {
		add("white", "sent, on a channel of its own")
	}
	if s.Flow == config.Backward {
		add("pixel 1 is", "at the far end: the port counts backward")
		b.brief("at the far end")
	} else {
		add("pixel 1 is", "at the data end")
	}
	if s.Fold > 0 {
		add("turns back", "every %s", textout.Count(s.Fold, "pixel"))
	} else {
		add("turns back", "never")
	}
	add("brightness", "%s %%", percentText(s.Brightness))
	add("gamma", "%s", textout.Number(s.Gamma))
	return b
}

// chipText names the chip and the speed of its data.
func (v *View) chipText(s *config.String) string {
	text := chipName(s)
	chip := v.Strings[s.Index].Chip
	if chip.BitsPerSecond > 0 {
		text += fmt.Sprintf(", %s kbit/s", textout.Number(chip.BitsPerSecond/1000))
	}
	if chip.Wires == 2 {
		text += ", data and clock"
	}
	return text
}

func chipName(s *config.String) string {
	if s.Chip.Name == config.ChipNone {
		return "none: plain RGB"
	}
	return strings.ToUpper(s.Chip.Name)
}

func (v *View) label(s *config.String) sheetLabel {
	l := sheetLabel{Port: textout.Dash(portText(s)), Name: s.Name, Tag: s.Label}
	l.Lines = append(l.Lines, fmt.Sprintf("universe %d channel %d", s.Universe, s.Channel))
	count := textout.Count(s.Pixels, "pixel")
	if s.NullPixels > 0 {
		count += fmt.Sprintf(", %d null ahead", s.NullPixels)
	}
	if s.Flow == config.Backward {
		count += ", pixel 1 at the far end"
	}
	l.Lines = append(l.Lines, count)
	if power := powerText(s); power != "" {
		l.Lines = append(l.Lines, power)
	}
	return l
}

// powerText is the volts of a string and the fuses of its feeds.
func powerText(s *config.String) string {
	var parts []string
	if s.Volts > 0 {
		parts = append(parts, textout.Number(s.Volts)+" V")
	}
	var fuses []string
	for _, f := range s.Feeds {
		if f.FuseAmps > 0 {
			fuses = append(fuses, fmt.Sprintf("%s %s A", f.At, textout.Number(f.FuseAmps)))
		}
	}
	if len(fuses) > 0 {
		parts = append(parts, "fuse "+strings.Join(fuses, ", "))
	}
	return strings.Join(parts, ", ")
}

// universeSize is how many channels the controller must count in a universe.
func universeSize(s *config.String) string {
	if s.Controller.Pack == config.PackContinuous {
		return fmt.Sprintf("%d channels, pixels may span two", sacn.MaxSlots)
	}
	n := s.ChannelsPerPixel()
	return fmt.Sprintf("%d channels, %d whole pixels", sacn.MaxSlots/n*n, sacn.MaxSlots/n)
}

// portText names where on the controller a string is plugged in.
func portText(s *config.String) string {
	text := s.Port
	if s.Receiver != "" {
		text += ", receiver " + s.Receiver
	}
	if s.Output != "" {
		text += ", output " + s.Output
	}
	return text
}

func percentText(share float64) string { return textout.Number(float64(int(share*1000+0.5)) / 10) }

// comparePorts puts 2 before 10 and 3a before 3b.
func comparePorts(a, b string) int {
	na, ra := leadingNumber(a)
	nb, rb := leadingNumber(b)
	return cmp.Or(cmp.Compare(na, nb), cmp.Compare(ra, rb))
}

func leadingNumber(s string) (int, string) {
	end := strings.IndexFunc(s, func(r rune) bool { return r < '0' || r > '9' })
	if end < 0 {
		end = len(s)
	}
	n, err := strconv.Atoi(s[:end])
	if err != nil {
		return -1, s
	}
	return n, s[end:]
}
