package yard

import (
	"math"
	"math/rand/v2"

	"yardproof/config"
	"yardproof/sacn"
)

// Random draws a fault of a kind at a place of the plan, with a severity between lo
// and hi; [Info.Range] has the usual ones. It reports false when the plan has no
// place for it, or none where it would change anything.
func Random(r *rand.Rand, p *config.Plan, k Kind, lo, hi float64) (Fault, bool) {
	info, ok := Lookup(k)
	if !ok {
		return Fault{}, false
	}
	for _, i := range r.Perm(len(p.Strings)) {
		s := p.Strings[i]
		f := Fault{Kind: k, String: s.Name, Severity: lo + (hi-lo)*r.Float64()}
		if info.Integer {
			if f.Severity = math.Round(f.Severity); f.Severity == 0 {
				f.Severity = 1
			}
		}
		if info.At != Whole {
			most := info.At.most(s)
			if most < 1 {
				continue
			}
			f.Place = 1 + r.IntN(most)
		}
		if info.Swap {
			for _, j := range r.Perm(len(p.Strings)) {
				if o := p.Strings[j]; o != s && apart(s, o, k) {
					f.With = o.Name
					break
				}
			}
		}
		if f.matters(p, s) {
			return f, true
		}
	}
	return Fault{}, false
}

// apart reports whether two strings can be taken for each other: one is not ahead
// of the other on one line, and where universes are swapped one controller reads both.
func apart(a, b *config.String, k Kind) bool {
	if k == SwappedUniverses && (a.Controller != b.Controller || a.Universe == b.Universe && a.Channel == b.Channel) {
		return false
	}
	return a.Controller == b.Controller && (a.Port == "" || a.Line() != b.Line())
}

// matters reports whether a fault changes anything that its string does, and puts
// right the sign of what a port cannot be set to.
func (f *Fault) matters(p *config.Plan, s *config.String) bool {
	i := int(f.Severity)
	switch f.Kind {
	case WrongNulls:
		if s.NullPixels+i < 0 || s.NullsByPlan {
			f.Severity = math.Abs(f.Severity)
		}
	case WrongCount:
		if s.Pixels+i < 1 {
			f.Severity = -1
		}
		return s.Pixels > 1 && (f.Severity < 0 || follows(p, s))
	case WrongStart:
		if s.Channel+i < 1 || s.Channel+i > 500 {
			f.Severity = -f.Severity
		}
	case WrongPack:
		return crosses(p, s)
	case SwappedPorts, SwappedUniverses:
		return f.With != ""
	case HotSupply, SupplyOff, SupplySag:
		return s.Feeds[0].Supply != nil
	case FourForThree:
		return s.Pixels > 1
	case SwitchStops:
		return s.Controller == nil || !s.Controller.Address.IsValid()
	}
	return true
}

// follows reports whether another string is behind this one on its line.
func follows(p *config.Plan, s *config.String) bool {
	for _, o := range p.Strings {
		if o.Index > s.Index && s.Port != "" && o.Line() == s.Line() {
			return true
		}
	}
	return false
}

// crosses reports whether any string of the controller goes on into a universe
// where the other packing would put its pixels elsewhere.
func crosses(p *config.Plan, s *config.String) bool {
	for _, o := range p.Strings {
		room := sacn.MaxSlots - (o.Channel - 1)
		if o.Controller == s.Controller && room%o.ChannelsPerPixel() != 0 && o.Pixels*o.ChannelsPerPixel() > room {
			return true
		}
	}
	return false
}
