package sacn

import (
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"testing"
)

func TestDecodeRefuses(t *testing.T) {
	data := worked(t, "data.hex")
	sync := worked(t, "sync.hex")
	discovery := worked(t, "discovery.hex")
	full := benchData
	full.Slots = make([]byte, MaxSlots)
	fullData, err := full.AppendTo(nil)
	if err != nil {
		t.Fatal(err)
	}
	decodeData := func(b []byte) error { return new(Data).Decode(b) }
	decodeSync := func(b []byte) error { return new(Sync).Decode(b) }
	decodeDiscovery := func(b []byte) error { return new(Discovery).Decode(b) }
	set := func(b []byte, offset int, octets ...byte) []byte {
		b = bytes.Clone(b)
		copy(b[offset:], octets)
		return b
	}
	tests := []struct {
		name   string
		decode func([]byte) error
		packet []byte
		want   error
	}{
		{"empty", decodeData, nil, ErrShort},
		{"48 octets", decodeData, data[:48], ErrShort},
		{"data without its START code", decodeData, data[:125], ErrShort},
		{"preamble size (5.1)", decodeData, set(data, 1, 0x11), ErrPreamble},
		{"post-amble size (5.2)", decodeData, set(data, 3, 1), ErrPreamble},
		{"identifier (5.3)", decodeData, set(data, 12, '8'), ErrPreamble},
		{"root vector (5.5)", decodeData, set(data, 21, 3), ErrVector},
		{"framing vector (6.2.1)", decodeData, set(data, 43, 1), ErrVector},
		{"root flags (5.4)", decodeData, set(data, 16, 0x60), ErrLength},
		{"root length (5.4)", decodeData, set(data, 17, 0x78), ErrLength},
		{"framing length (6.1)", decodeData, set(data, 39, 0x62), ErrLength},
		{"DMP length (7.1)", decodeData, set(data, 116, 0x15), ErrLength},
		{"one octet cut off", decodeData, data[:len(data)-1], ErrLength},
		{"one octet too many", decodeData, append(bytes.Clone(data), 0), ErrLength},
		{"DMP vector (7.2)", decodeData, set(data, 117, 3), ErrProperty},
		{"address type (7.3)", decodeData, set(data, 118, 0xa2), ErrProperty},
		{"first address (7.4)", decodeData, set(data, 120, 1), ErrProperty},
		{"increment (7.5)", decodeData, set(data, 122, 2), ErrProperty},
		{"count past the end (7.6)", decodeData, set(data, 124, 11), ErrCount},
		{"count before the end (7.6)", decodeData, set(data, 124, 9), ErrCount},
		{"count 0 (7.6)", decodeData, set(data, 124, 0), ErrCount},
		{"universe 0 (6.2.7)", decodeData, set(data, 113, 0, 0), ErrUniverse},
		{"universe 64000 (6.2.7)", decodeData, set(data, 113, 0xfa, 0), ErrUniverse},
		{"sync address 64000 (6.2.4)", decodeData, set(data, 109, 0xfa, 0), ErrUniverse},
		{"a sync packet for data", decodeData, sync, ErrVector},
		{"a data packet for sync", decodeSync, data, ErrVector},
		{"sync address 0 (6.3.3)", decodeSync, set(sync, 45, 0, 0), ErrUniverse},
		{"a framing vector that nobody defined", decodeSync, set(sync, 43, 9), ErrVector},
		{"a data packet for discovery", decodeDiscovery, data, ErrVector},
		{"list vector (8.2)", decodeDiscovery, set(discovery, 117, 2), ErrVector},
		{"list length (8.1)", decodeDiscovery, set(discovery, 113, 0x0d), ErrLength},
		{"page past the last (8.3)", decodeDiscovery, set(discovery, 118, 1), ErrPage},
		{"discovery of 119 octets", decodeDiscovery, discovery[:119], ErrShort},
		{"513 slots (7.6)", decodeData, func() []byte {
			b := append(bytes.Clone(fullData), 0)
			for _, offset := range []int{16, 38, 115} {
				flagsAndLength(b, offset)
			}
			binary.BigEndian.PutUint16(b[123:], 514)
			return b
		}(), ErrCount},
	}
	for _, tt := range tests {
		if err := tt.decode(tt.packet); !errors.Is(err, tt.want) {
			t.Errorf("%s: %v, want %v", tt.name, err, tt.want)
		}
	}
	if err := decodeData(set(data, 112, 0x1f)); err != nil {
		t.Errorf("reserved option bits are ignored (6.2.6), got %v", err)
	}
	if err := decodeSync(set(sync, 47, 0xff, 0xff)); err != nil {
		t.Errorf("reserved octets are ignored (6.3.4), got %v", err)
	}
}

// A three-universe discovery packet and a data packet without slots have the
// same size; only the root vector tells them apart.
func TestKindIsNotSize(t *testing.T) {
	d := benchData
	d.Slots = nil
	data, err := d.AppendTo(nil)
	if err != nil {
		t.Fatal(err)
	}
	discovery := worked(t, "discovery.hex")
	if len(data) != len(discovery) {
		t.Fatalf("%d and %d octets: the test wants equal sizes", len(data), len(discovery))
	}
	for _, tt := range []struct {
		packet []byte
		want   PacketType
	}{{data, DataPacket}, {discovery, DiscoveryPacket}, {worked(t, "sync.hex"), SyncPacket}} {
		if kind, err := PacketTypeOf(tt.packet); kind != tt.want || err != nil {
			t.Errorf("kind %d, %v, want %d", kind, err, tt.want)
		}
	}
}

func FuzzDecode(f *testing.F) {
	for _, file := range []string{"data.hex", "sync.hex", "discovery.hex"} {
		f.Add(worked(f, file))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		var d Data
		var s Sync
		var u Discovery
		kind, err := PacketTypeOf(b)
		if errs := []error{d.Decode(b), s.Decode(b), u.Decode(b)}; err != nil && (errs[0] == nil || errs[1] == nil || errs[2] == nil) {
			t.Fatalf("PacketTypeOf says %v, decoders say %v", err, errs)
		}
		// What decodes encodes to the same octets, but for those that a receiver ignores.
		switch {
		case kind == DataPacket && d.Decode(b) == nil && d.Priority <= MaxPriority:
			b[offOptions] &= 0xe0
			same(t, b, d.AppendTo)
		case kind == SyncPacket && s.Decode(b) == nil:
			b[47], b[48] = 0, 0
			same(t, b, s.AppendTo)
		case kind == DiscoveryPacket && u.Decode(b) == nil:
			if got, err := u.AppendTo(nil); err == nil {
				copy(b[108:], []byte{0, 0, 0, 0})
				if !bytes.Equal(got, b) {
					t.Errorf("re-encoded\n%swant\n%s", hex.Dump(got), hex.Dump(b))
				}
			}
		}
	})
}

func BenchmarkDecode(b *testing.B) {
	packet := worked(b, "data.hex")
	var d Data
	b.ReportAllocs()
	for b.Loop() {
		if err := d.Decode(packet); err != nil {
			b.Fatal(err)
		}
	}
}
