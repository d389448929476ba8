package sacn

// Template is one universe's data packet, built once. A frame then writes the
// sequence octet and the slots, nothing else.
type Template []byte

// NewTemplate builds the packet; it refuses what [Data.AppendTo] refuses.
func NewTemplate(d *Data) (Template, error) {
	b, err := d.AppendTo(make([]byte, 0, offSlots+len(d.Slots)))
	return Template(b), err
}

// Slots returns the slots inside the packet, for writing.
func (t Template) Slots() []byte { return t[offSlots:] }

// SetSequence sets the sequence number.
func (t Template) SetSequence(n uint8) { t[offSequence] = n }

// Terminate sets the Stream_Terminated bit (6.2.6). There is no way back: a
// stream that begins again begins with a new template.
func (t Template) Terminate() { t[offOptions] |= byte(StreamTerminated) }
