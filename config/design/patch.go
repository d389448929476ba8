package design

import (
	"bytes"
	"errors"
	"fmt"
	"slices"

	"yardproof/config"
	"yardproof/config/amend"
)

// Patch changes the text of a plan to what was proposed. It loads the changed text and
// makes sure that nothing else became of it: a string that takes its feeds from an
// anchor gets feeds of its own when the anchor's change.
func (out *Proposal) Patch(file string, text []byte) (*amend.Text, error) {
	write := map[int]bool{}
	for _, s := range out.Strings {
		write[s.index] = true
	}
	was, problems := config.Load(file, bytes.NewReader(text))
	same := func(a, b *config.String) bool { return a.Name == b.Name && sameFeeds(a, b) }
	if slices.ContainsFunc(problems, func(x config.Problem) bool { return x.Severity == config.Error }) || !slices.EqualFunc(was.Strings, out.today.Strings, same) {
		return nil, errors.New("the plan's file has changed since it was read: let it be read again, and propose anew")
	}
	for range 3 {
		t, err := amend.Parse(text)
		if err != nil {
			return nil, err
		}
		if err := out.write(t, was, write); err != nil {
			return nil, err
		}
		is, err := patched(file, t)
		if err != nil {
			return nil, err
		}
		again := false
		for i, want := range out.Plan.Strings {
			if i >= len(is.Strings) || !sameFeeds(is.Strings[i], want) {
				again, write[i] = true, true
			}
		}
		if !again {
			return t, nil
		}
	}
	return nil, errors.New("this plan is written in a way that cannot be changed in place: write the feeds of each string out, without anchors")
}

// patched loads a changed text.
func patched(file string, t *amend.Text) (*config.Plan, error) {
	p, problems := config.Load(file, bytes.NewReader(t.Bytes()))
	for _, x := range problems {
		if x.Severity == config.Error {
			return nil, fmt.Errorf("this plan is written in a way that cannot be changed in place; change it by hand (%s)", x.What)
		}
	}
	return p, nil
}

// write asks for the changes.
func (out *Proposal) write(t *amend.Text, was *config.Plan, strings map[int]bool) error {
	for _, v := range out.Supplies {
		pairs := []amend.Pair{{Key: "name", Value: t.Scalar(v.Name)}, {Key: "volts", Value: t.Scalar(v.Volts)}, {Key: "watts", Value: t.Scalar(v.Watts)}}
		if spot := v.supply.Spot; len(spot) > 0 {
			pairs = append(pairs, amend.Pair{Key: "at", Value: spotText(t, spot)})
		}
		t.Append("supplies", t.Flow(pairs))
	}
	for _, f := range out.Feeders {
		m, ok := t.Item("feeders", slices.IndexFunc(was.Feeders, func(o *config.Feeder) bool { return o.Name == f.Name }))
		if !ok {
			return fmt.Errorf("feeder %s is not written in a place of its own; change it by hand", f.Name)
		}
		gauge := wirePairs(t, f.is.Wire)
		for _, key := range []string{"awg", "mm2", "milliohms", "metal"} {
			if i := slices.IndexFunc(gauge, func(p amend.Pair) bool { return p.Key == key }); i >= 0 {
				m.Set(key, gauge[i].Value)
			} else if m.Has(key) {
				m.Remove(key)
			}
		}
		m.Set("fuse_amps", t.Scalar(f.is.FuseAmps))
	}
	for i := range out.Plan.Strings {
		if !strings[i] {
			continue
		}
		s, old := out.Plan.Strings[i], was.Strings[i]
		m, ok := t.Item("strings", i)
		if !ok {
			return fmt.Errorf("string %s is not written in a place of its own; change it by hand", s.Name)
		}
		var items []amend.Item
		for _, f := range s.Feeds {
			at := -1
			if old.Has("feeds") && m.Has("feeds") {
				at = slices.IndexFunc(old.Feeds, func(o *config.Feed) bool { return o.Address == f.Address })
			}
			items = append(items, amend.Item{Text: t.Flow(feedPairs(t, f, old)), Was: at})
		}
		m.SetList("feeds", items)
	}
	return nil
}

func spotText(t *amend.Text, spot config.Spot) string {
	if len(spot) == 1 {
		return t.Scalar(spot[0])
	}
	text := "["
	for i, v := range spot {
		if i > 0 {
			text += ", "
		}
		text += t.Scalar(v)
	}
	return text + "]"
}

func wirePairs(t *amend.Text, w config.Wire) []amend.Pair {
	var pairs []amend.Pair
	switch {
	case w.HasAWG:
		pairs = append(pairs, amend.Pair{Key: "awg", Value: t.Scalar(w.AWG)})
	case w.MM2 > 0:
		pairs = append(pairs, amend.Pair{Key: "mm2", Value: t.Scalar(w.MM2)})
	case w.Milliohms > 0:
		pairs = append(pairs, amend.Pair{Key: "milliohms", Value: t.Scalar(w.Milliohms)})
	}
	if w.Metal == config.CCA {
		pairs = append(pairs, amend.Pair{Key: "metal", Value: string(config.CCA)})
	}
	return pairs
}

// feedPairs are a feed's keys; what it would inherit from its string is left out.
func feedPairs(t *amend.Text, f *config.Feed, s *config.String) []amend.Pair {
	pairs := []amend.Pair{{Key: "at", Value: t.Scalar(f.At)}}
	add := func(key, value string) { pairs = append(pairs, amend.Pair{Key: key, Value: value}) }
	switch {
	case f.Feeder != nil:
		add("from", t.Scalar(f.Feeder.Name))
	case f.Supply != nil && inherited(s) != f.Supply.Name:
		add("supply", t.Scalar(f.Supply.Name))
	}
	if f.Wire.Known() {
		pairs = append(pairs, wirePairs(t, f.Wire)...)
		add("metres", t.Scalar(f.Wire.Metres))
	}
	if f.FuseAmps > 0 {
		add("fuse_amps", t.Scalar(f.FuseAmps))
	}
	if s.Has("fuse_use") || f.FuseContinuousShare != usualFuseUse {
		add("fuse_use", t.Scalar(fmt.Sprintf("%g%%", 100*f.FuseContinuousShare)))
	}
	if f.ConnectorAmps != s.ConnectorAmps {
		add("connector_amps", t.Scalar(f.ConnectorAmps))
	}
	if f.Temperature != nil {
		add("temperature", t.Scalar(*f.Temperature))
	}
	return pairs
}

// inherited is the supply that a feed of the string has which names none; "": not known.
func inherited(s *config.String) string {
	for _, f := range s.Feeds {
		if f.Supply != nil && f.Feeder == nil && (!s.Has("feeds") || !f.Marks.Has("supply")) {
			return f.Supply.Name
		}
	}
	return ""
}

func sameFeeds(a, b *config.String) bool {
	return slices.EqualFunc(a.Feeds, b.Feeds, func(x, y *config.Feed) bool {
		return x.Address == y.Address && x.At == y.At && nameOf(x) == nameOf(y) && x.Wire == y.Wire && x.FuseAmps == y.FuseAmps && x.ConnectorAmps == y.ConnectorAmps &&
			x.FuseContinuousShare == y.FuseContinuousShare && config.Celsius(x.Temperature, -1000) == config.Celsius(y.Temperature, -1000)
	})
}

// nameOf is where a feed comes from.
func nameOf(f *config.Feed) string {
	switch {
	case f.Feeder != nil:
		return "feeder " + f.Feeder.Name
	case f.Supply != nil:
		return f.Supply.Name
	}
	return ""
}
