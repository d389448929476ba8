package sacn

import (
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"strings"
	"testing"

	"yardproof/sacn/sacntest"
)

// The worked packets were built by hand from the standard's tables, and their
// layout was read back field by field with tshark 4.0.17's ACN dissector.
var (
	benchCID  = CID{0xc0, 0xff, 0xee, 0x00, 0x12, 0x34, 0x4a, 0xbc, 0x8d, 0xef, 0x01, 0x23, 0x45, 0x67, 0x89, 0xab}
	benchName = mustName("bench-source")

	benchData = Data{
		CID: benchCID, Name: benchName, Priority: 100, Sequence: 7, Universe: 1,
		Slots: []byte{0xff, 0, 0, 0, 0xff, 0, 0, 0, 0xff},
	}
	benchSync      = Sync{CID: benchCID, Sequence: 9, Address: 7962}
	benchDiscovery = Discovery{CID: benchCID, Name: benchName, Universes: UniverseList{0, 1, 0, 2, 0x1f, 0x1a}}
)

func mustName(s string) Name {
	n, err := NewName(s)
	if err != nil {
		panic(err)
	}
	return n
}

// worked reads a packet written as hexadecimal octets, with comments from # on.
func worked(t testing.TB, file string) []byte {
	t.Helper()
	text := sacntest.Read(t, "../testdata/packets/"+file)
	var digits strings.Builder
	for line := range strings.Lines(text) {
		line, _, _ = strings.Cut(line, "#")
		digits.WriteString(strings.Join(strings.Fields(line), ""))
	}
	b, err := hex.DecodeString(digits.String())
	if err != nil {
		t.Fatalf("%s: %v", file, err)
	}
	return b
}

func TestWorkedPackets(t *testing.T) {
	tests := []struct {
		file   string
		encode func() ([]byte, error)
		decode func([]byte) (any, error)
		want   any
	}{
		{"data.hex", func() ([]byte, error) { return benchData.AppendTo(nil) },
			func(b []byte) (any, error) { var d Data; err := d.Decode(b); return d, err }, benchData},
		{"sync.hex", func() ([]byte, error) { return benchSync.AppendTo(nil) },
			func(b []byte) (any, error) { var s Sync; err := s.Decode(b); return s, err }, benchSync},
		{"discovery.hex", func() ([]byte, error) { return benchDiscovery.AppendTo(nil) },
			func(b []byte) (any, error) { var d Discovery; err := d.Decode(b); return d, err }, benchDiscovery},
	}
	for _, tt := range tests {
		t.Run(tt.file, func(t *testing.T) {
			want := worked(t, tt.file)
			got, err := tt.encode()
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(got, want) {
				t.Errorf("encoded\n%swant\n%s", hex.Dump(got), hex.Dump(want))
			}
			v, err := tt.decode(want)
			if err != nil {
				t.Fatal(err)
			}
			if fmt.Sprint(v) != fmt.Sprint(tt.want) {
				t.Errorf("decoded\n%v\nwant\n%v", v, tt.want)
			}
		})
	}
}

// TestLengths checks the three flags-and-length fields and the count against
// the table of lengths: 9 and 512 slots as seen by tshark, the rest arithmetic.
func TestLengths(t *testing.T) {
	tests := []struct {
		slots, payload          int
		root, frame, dmp, count uint16
	}{
		{0, 126, 0x706e, 0x7058, 0x700b, 1},
		{1, 127, 0x706f, 0x7059, 0x700c, 2},
		{3, 129, 0x7071, 0x705b, 0x700e, 4},
		{9, 135, 0x7077, 0x7061, 0x7014, 10},
		{150, 276, 0x7104, 0x70ee, 0x70a1, 151},
		{510, 636, 0x726c, 0x7256, 0x7209, 511},
		{511, 637, 0x726d, 0x7257, 0x720a, 512},
		{512, 638, 0x726e, 0x7258, 0x720b, 513},
	}
	for _, tt := range tests {
		d := benchData
		d.Slots = make([]byte, tt.slots)
		b, err := d.AppendTo(nil)
		if err != nil {
			t.Fatal(err)
		}
		at := func(offset int) uint16 { return binary.BigEndian.Uint16(b[offset:]) }
		if len(b) != tt.payload || at(16) != tt.root || at(38) != tt.frame || at(115) != tt.dmp || at(123) != tt.count {
			t.Errorf("%d slots: %d octets, %#x %#x %#x, count %d; want %+v", tt.slots, len(b), at(16), at(38), at(115), at(123), tt)
		}
	}
}

// TestEveryField puts a different value into every field and looks for each at
// its own offset, so that two swapped fields cannot hide.
func TestEveryField(t *testing.T) {
	d := Data{
		CID: benchCID, Name: mustName("é quay"), Priority: 200, SyncAddress: 0x1f1a, Sequence: 0x42,
		Options: Preview | StreamTerminated | ForceSync, Universe: 0xf9ff, StartCode: 0xdd, Slots: []byte{1, 2, 3, 4, 5, 6},
	}
	b, err := d.AppendTo([]byte{0xaa})
	if err != nil {
		t.Fatal(err)
	}
	if b[0] != 0xaa {
		t.Fatal("what stood in the buffer is gone")
	}
	b = b[1:]
	for _, f := range []struct {
		clause string
		offset int
		octets string
	}{
		{"5.1 preamble size", 0, "0010"},
		{"5.2 post-amble size", 2, "0000"},
		{"5.3 ACN packet identifier", 4, "4153432d45312e3137000000"},
		{"5.5 root vector", 18, "00000004"},
		{"5.6 CID", 22, "c0ffee0012344abc8def0123456789ab"},
		{"6.2.1 framing vector", 40, "00000002"},
		{"6.2.2 source name", 44, "c3a9207175617900"},
		{"6.2.3 priority", 108, "c8"},
		{"6.2.4 synchronization address", 109, "1f1a"},
		{"6.2.5 sequence number", 111, "42"},
		{"6.2.6 options", 112, "e0"},
		{"6.2.7 universe", 113, "f9ff"},
		{"7.2 DMP vector", 117, "02"},
		{"7.3 address type and data type", 118, "a1"},
		{"7.4 first property address", 119, "0000"},
		{"7.5 address increment", 121, "0001"},
		{"7.6 property value count", 123, "0007"},
		{"7.7 START code", 125, "dd"},
		{"7.7 slots", 126, "010203040506"},
	} {
		want, _ := hex.DecodeString(f.octets)
		if got := b[f.offset : f.offset+len(want)]; !bytes.Equal(got, want) {
			t.Errorf("%s at octet %d: % x, want % x", f.clause, f.offset, got, want)
		}
	}
	var back Data
	if err := back.Decode(b); err != nil {
		t.Fatal(err)
	}
	if fmt.Sprint(back) != fmt.Sprint(d) {
		t.Errorf("back %v, want %v", back, d)
	}
}

func TestEncodeRefuses(t *testing.T) {
	data := func(change func(*Data)) func() error {
		return func() error { d := benchData; change(&d); _, err := d.AppendTo(nil); return err }
	}
	discovery := func(change func(*Discovery)) func() error {
		return func() error { d := benchDiscovery; change(&d); _, err := d.AppendTo(nil); return err }
	}
	tests := []struct {
		name   string
		encode func() error
		want   string
	}{
		{"universe 0 (6.2.7)", data(func(d *Data) { d.Universe = 0 }), "universe 0 is outside 1-63999"},
		{"universe 64000 (6.2.7)", data(func(d *Data) { d.Universe = 64000 }), "universe 64000 is outside"},
		{"the discovery universe as data", data(func(d *Data) { d.Universe = DiscoveryUniverse }), "universe 64214 is outside"},
		{"synchronization address (6.2.4)", data(func(d *Data) { d.SyncAddress = 64000 }), "synchronization address 64000"},
		{"priority 201 (6.2.3)", data(func(d *Data) { d.Priority = 201 }), "priority 201 is above 200"},
		{"513 slots (7.6)", data(func(d *Data) { d.Slots = make([]byte, 513) }), "513 slots"},
		{"reserved option (6.2.6)", data(func(d *Data) { d.Options = 1 }), "reserved"},
		{"sync address 0 (6.3.3)", func() error { _, err := (&Sync{}).AppendTo(nil); return err }, "synchronization address 0"},
		{"513 in a page (8.5)", discovery(func(d *Discovery) { d.Universes = make(UniverseList, 2*513) }), "no page"},
		{"odd list", discovery(func(d *Discovery) { d.Universes = make(UniverseList, 3) }), "no page"},
		{"descending list (8.5)", discovery(func(d *Discovery) { d.Universes = UniverseList{0, 2, 0, 1} }), "must ascend"},
		{"page past the last (8.4)", discovery(func(d *Discovery) { d.Page = 1 }), "page 1 is past"},
	}
	for _, tt := range tests {
		if err := tt.encode(); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: error %v, want one with %q", tt.name, err, tt.want)
		}
	}
}

// TestDiscoveryPages checks the paging arithmetic (clause 8): 512 universes in
// one page, 513 in two, all 63,999 in 125 of which the last has 511.
func TestDiscoveryPages(t *testing.T) {
	for _, tt := range []struct{ universes, pages, onLast int }{
		{0, 1, 0}, {1, 1, 1}, {512, 1, 512}, {513, 2, 1}, {1024, 2, 512}, {63999, 125, 511},
	} {
		list := make([]uint16, tt.universes)
		for i := range list {
			list[i] = uint16(i + 1)
		}
		pages, err := DiscoveryPages(benchCID, benchName, list)
		if err != nil {
			t.Fatal(err)
		}
		if len(pages) != tt.pages {
			t.Errorf("%d universes: %d pages, want %d", tt.universes, len(pages), tt.pages)
			continue
		}
		var got []uint16
		for i, b := range pages {
			var d Discovery
			if err := d.Decode(b); err != nil {
				t.Fatalf("page %d: %v", i, err)
			}
			if int(d.Page) != i || int(d.LastPage) != tt.pages-1 {
				t.Errorf("page %d of %d says %d of %d", i, tt.pages-1, d.Page, d.LastPage)
			}
			if i == tt.pages-1 && d.Universes.Len() != tt.onLast {
				t.Errorf("the last page has %d universes, want %d", d.Universes.Len(), tt.onLast)
			}
			for j := range d.Universes.Len() {
				got = append(got, d.Universes.At(j))
			}
		}
		if fmt.Sprint(got) != fmt.Sprint(list) {
			t.Errorf("%d universes: the pages do not hold them all in order", tt.universes)
		}
	}
}

func TestTemplate(t *testing.T) {
	d := benchData
	tmpl, err := NewTemplate(&d)
	if err != nil {
		t.Fatal(err)
	}
	tmpl.SetSequence(0x80)
	copy(tmpl.Slots(), []byte{9, 8, 7})
	tmpl.Terminate()
	d.Sequence, d.Options = 0x80, StreamTerminated
	d.Slots = []byte{9, 8, 7, 0, 0xff, 0, 0, 0, 0xff}
	want, err := d.AppendTo(nil)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(tmpl, want) || tmpl[offSequence] != 0x80 {
		t.Errorf("patched\n%swant\n%s", hex.Dump(tmpl), hex.Dump(want))
	}
}

func TestAllocFree(t *testing.T) {
	packet := worked(t, "data.hex")
	tmpl := Template(bytes.Clone(packet))
	buf := make([]byte, 0, MaxDataLen)
	var d Data
	for name, f := range map[string]func(){
		"a tick of a template": func() { tmpl.SetSequence(tmpl[offSequence] + 1); tmpl.Slots()[0]++ },
		"decoding":             func() { _ = d.Decode(packet) },
		"refusing":             func() { _ = d.Decode(packet[:60]) },
		"encoding":             func() { _, _ = benchData.AppendTo(buf) },
	} {
		if n := testing.AllocsPerRun(100, f); n != 0 {
			t.Errorf("%s allocates %v times", name, n)
		}
	}
}

func same(t *testing.T, want []byte, encode func([]byte) ([]byte, error)) {
	t.Helper()
	got, err := encode(nil)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("re-encoded\n%swant\n%s", hex.Dump(got), hex.Dump(want))
	}
}
