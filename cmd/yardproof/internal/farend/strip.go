package farend

// streamHistory is what happened on each stream in the last seconds.
type streamHistory map[streamKey]*recent

type streamKey struct {
	cid      string
	address  string // two senders may have one CID
	universe uint16
}

type recent struct {
	packets, lost uint64
	marks         [30]byte // the oldest first
}

// note takes a second's counts. A mark is a dot for no loss, 1 to 9 for the
// share lost in tenths, # for silence.
func (h streamHistory) note(a *Answer) {
	for _, r := range a.rows() {
		k := streamKey{r.source.CID, r.source.Address, r.Universe}
		s := h[k]
		if s == nil {
			s = &recent{}
			for i := range s.marks {
				s.marks[i] = ' '
			}
			h[k] = s
		}
		copy(s.marks[:], s.marks[1:])
		s.marks[len(s.marks)-1] = mark(r.Packets-s.packets, int64(r.Lost)-int64(s.lost), r.Terminated)
		s.packets, s.lost = r.Packets, r.Lost
	}
}

func mark(packets uint64, lost int64, terminated bool) byte {
	switch {
	case packets == 0 && terminated:
		return ' '
	case packets == 0:
		return '#'
	case lost <= 0: // below 0: one came late that had been counted
		return '.'
	}
	return '1' + byte(min(8, 10*float64(lost)/float64(int64(packets)+lost)))
}

func (h streamHistory) strip(r row) string {
	return string(h[streamKey{r.source.CID, r.source.Address, r.Universe}].marks[:])
}
