package sacn

import "encoding/binary"

// DecodeError is the reason why a packet was refused. The reasons are few and
// fixed, so that each can be a counter.
type DecodeError uint8

// The reasons. Where a packet has several faults, the outermost counts.
const (
	ErrShort    DecodeError = iota + 1 // ends before the fields of its kind do
	ErrPreamble                        // not an ACN packet over UDP (5.1-5.3)
	ErrVector                          // a vector that E1.31 does not define (5.5, 6.x.1, 8.2)
	ErrLength                          // flags or a length that contradict the packet's size (5.4, 6.1, 7.1, 8.1)
	ErrProperty                        // DMP vector, address type, first address or increment (7.2-7.5)
	ErrCount                           // property value count outside 1-513, or not what is there (7.6)
	ErrUniverse                        // a universe or synchronization address out of range (6.2.7, 6.3.3)
	ErrPage                            // a discovery page past its last one, or with over 512 universes (8)
)

// DecodeErrors lists every reason, for those who count by reason.
var DecodeErrors = []DecodeError{ErrShort, ErrPreamble, ErrVector, ErrLength, ErrProperty, ErrCount, ErrUniverse, ErrPage}

var reasons = [...]string{
	ErrShort: "short", ErrPreamble: "preamble", ErrVector: "vector", ErrLength: "length",
	ErrProperty: "property", ErrCount: "count", ErrUniverse: "universe", ErrPage: "page",
}

// Reason returns the reason as one lower-case word.
func (e DecodeError) Reason() string { return reasons[e] }

func (e DecodeError) Error() string { return "malformed E1.31 packet: " + e.Reason() }

// PacketType tells the three packets apart.
type PacketType uint8

// The kinds of packet.
const (
	DataPacket PacketType = iota + 1
	SyncPacket
	DiscoveryPacket
)

// pduFits checks a flags-and-length field: flags 0x7, and a length that reaches
// from the field to the end of the packet.
func pduFits(b []byte, offset int) bool {
	return binary.BigEndian.Uint16(b[offset:]) == 0x7000|uint16(len(b)-offset) && len(b)-offset < 0x1000
}

// PacketTypeOf reads the layers that all packets share, and tells which decoder the
// rest is for. It checks preamble, vectors, flags and lengths (clauses 5 and 6.1).
func PacketTypeOf(b []byte) (PacketType, error) {
	if len(b) < SyncLen {
		return 0, ErrShort
	}
	if [16]byte(b) != preamble {
		return 0, ErrPreamble
	}
	var kind PacketType
	var need int
	switch frame := binary.BigEndian.Uint32(b[offFrameVector:]); binary.BigEndian.Uint32(b[offRootVector:]) {
	case vectorRootData:
		if frame != vectorData {
			return 0, ErrVector
		}
		kind, need = DataPacket, offSlots
	case vectorRootExtended:
		switch frame {
		case vectorSync:
			kind, need = SyncPacket, SyncLen
		case vectorDiscovery:
			kind, need = DiscoveryPacket, offList
		default:
			return 0, ErrVector
		}
	default:
		return 0, ErrVector
	}
	if len(b) < need {
		return 0, ErrShort
	}
	if !pduFits(b, offRootLength) || !pduFits(b, offFrameLength) {
		return 0, ErrLength
	}
	return kind, nil
}

// Decode reads a data packet. It ignores what the standard says to ignore
// (reserved option bits) and takes a priority above 200 and a name without NUL
// as they are, for those who want to tell on the sender.
func (d *Data) Decode(b []byte) error {
	kind, err := PacketTypeOf(b)
	if err != nil {
		return err
	}
	if kind != DataPacket {
		return ErrVector
	}
	if !pduFits(b, offDMPLength) {
		return ErrLength
	}
	if [6]byte(b[offDMPVector:]) != dmpHeader {
		return ErrProperty
	}
	if n := int(binary.BigEndian.Uint16(b[offCount:])); n < 1 || n > 1+MaxSlots || n != len(b)-offStartCode {
		return ErrCount
	}
	universe := binary.BigEndian.Uint16(b[offUniverse:])
	sync := binary.BigEndian.Uint16(b[offDataSync:])
	if !ValidUniverse(universe) || sync > MaxUniverse {
		return ErrUniverse
	}
	*d = Data{
		CID:         CID(b[offCID:]),
		Name:        Name(b[offName:]),
		Priority:    b[offPriority],
		SyncAddress: sync,
		Sequence:    b[offSequence],
		Options:     Options(b[offOptions]) & (Preview | StreamTerminated | ForceSync),
		Universe:    universe,
		StartCode:   b[offStartCode],
		Slots:       b[offSlots:],
	}
	return nil
}

// Decode reads a synchronization packet.
func (s *Sync) Decode(b []byte) error {
	kind, err := PacketTypeOf(b)
	if err != nil {
		return err
	}
	if kind != SyncPacket {
		return ErrVector
	}
	if len(b) != SyncLen {
		return ErrLength
	}
	address := binary.BigEndian.Uint16(b[offSyncAddr:])
	if !ValidUniverse(address) {
		return ErrUniverse
	}
	*s = Sync{CID: CID(b[offCID:]), Sequence: b[offSyncSeq], Address: address}
	return nil
}

// Decode reads a page of universe discovery. The order of the list is left to
// the caller, since a receiver can use an unsorted one.
func (d *Discovery) Decode(b []byte) error {
	kind, err := PacketTypeOf(b)
	if err != nil {
		return err
	}
	if kind != DiscoveryPacket {
		return ErrVector
	}
	if binary.BigEndian.Uint32(b[offListVector:]) != vectorList {
		return ErrVector
	}
	if !pduFits(b, offListLength) || len(b)%2 != 0 {
		return ErrLength
	}
	list := UniverseList(b[offList:])
	if b[offPage] > b[offLastPage] || list.Len() > MaxPageLen {
		return ErrPage
	}
	*d = Discovery{
		CID:       CID(b[offCID:]),
		Name:      Name(b[offName:]),
		Page:      b[offPage],
		LastPage:  b[offLastPage],
		Universes: list,
	}
	return nil
}
