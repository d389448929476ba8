package sacn

import (
	"encoding/binary"
	"fmt"
	"slices"
)

// Octet offsets from the start of the UDP payload. The root layer (clause 5)
// begins all three packets; the rest depends on the vectors.
const (
	offPreamble   = 0  // Preamble Size, Post-amble Size, ACN Packet Identifier (5.1-5.3)
	offRootLength = 16 // Flags and Length (5.4)
	offRootVector = 18 // Vector (5.5)
	offCID        = 22 // CID (5.6)

	offFrameLength = 38 // Flags and Length (6.1)
	offFrameVector = 40 // Vector (6.2.1, 6.3.1, 6.4.1)
	offName        = 44 // Source Name (6.2.2, 6.4.2)

	offPriority   = 108 // Priority (6.2.3)
	offDataSync   = 109 // Synchronization Address (6.2.4)
	offSequence   = 111 // Sequence Number (6.2.5)
	offOptions    = 112 // Options (6.2.6)
	offUniverse   = 113 // Universe (6.2.7)
	offDMPLength  = 115 // Flags and Length (7.1)
	offDMPVector  = 117 // Vector (7.2), then type, first address, increment (7.3-7.5)
	offCount      = 123 // Property Value Count (7.6)
	offStartCode  = 125 // START code, the first property (7.7)
	offSlots      = 126 // slot 1 (7.7)
	offSyncSeq    = 44  // Sequence Number (6.3.2)
	offSyncAddr   = 45  // Synchronization Address (6.3.3), then two reserved octets (6.3.4)
	offListLength = 112 // Flags and Length (8.1); 108-111 are reserved (6.4.3)
	offListVector = 114 // Vector (8.2)
	offPage       = 118 // Page (8.3)
	offLastPage   = 119 // Last Page (8.4)
	offList       = 120 // List of Universes (8.5)
)

// Vectors (Appendix A). The same number means different things at different
// layers, so the root vector is always read first.
const (
	vectorRootData     = 0x00000004 // VECTOR_ROOT_E131_DATA
	vectorRootExtended = 0x00000008 // VECTOR_ROOT_E131_EXTENDED
	vectorData         = 0x00000002 // VECTOR_E131_DATA_PACKET
	vectorSync         = 0x00000001 // VECTOR_E131_EXTENDED_SYNCHRONIZATION
	vectorDiscovery    = 0x00000002 // VECTOR_E131_EXTENDED_DISCOVERY
	vectorList         = 0x00000001 // VECTOR_UNIVERSE_DISCOVERY_UNIVERSE_LIST
)

// Sizes in octets of UDP payload.
const (
	MaxSlots        = 512                 // slots of one universe (7.6: count 1-513 with the START code)
	MaxDataLen      = offSlots + MaxSlots // 638
	SyncLen         = 49
	MaxPageLen      = 512                    // universes of one discovery page (8.5)
	MaxDiscoveryLen = offList + 2*MaxPageLen // 1144
)

const (
	DefaultPriority = 100 // of a source without an adjustable one (6.2.3)
	MaxPriority     = 200 // 201-255 are reserved (6.2.3)
)

var (
	preamble = [16]byte{0x00, 0x10, 0x00, 0x00, 'A', 'S', 'C', '-', 'E', '1', '.', '1', '7', 0, 0, 0}

	// VECTOR_DMP_SET_PROPERTY, then Address Type & Data Type 0xa1, First
	// Property Address 0x0000, Address Increment 0x0001 (7.2-7.5).
	dmpHeader = [6]byte{0x02, 0xa1, 0x00, 0x00, 0x00, 0x01}
)

// Options is the option octet of a data packet (6.2.6). Bits 4-0 are sent 0 and
// ignored on receipt.
type Options uint8

// The option bits (6.2.6).
const (
	Preview          Options = 1 << 7 // for visualisers: must drive no live output
	StreamTerminated Options = 1 << 6 // the source has ended this universe; slots are to be ignored
	ForceSync        Options = 1 << 5 // once synchronization is lost, act on data unsynchronized
)

// Data is a data packet (clauses 6.2 and 7).
type Data struct {
	CID         CID
	Name        Name
	Priority    uint8  // 0-200, the higher wins
	SyncAddress uint16 // universe whose synchronization packets release the data; 0: none
	Sequence    uint8
	Options     Options
	Universe    uint16 // 1-63999
	StartCode   uint8  // 0: levels
	Slots       []byte // at most 512; after a decode it aliases the packet
}

// Sync is a synchronization packet (6.3).
type Sync struct {
	CID      CID
	Sequence uint8  // a count of its own for each synchronization address
	Address  uint16 // 1-63999
}

// Discovery is one page of a universe discovery packet (6.4 and 8).
type Discovery struct {
	CID            CID
	Name           Name
	Page, LastPage uint8        // counted from 0
	Universes      UniverseList // at most 512, ascending
}

// UniverseList is the packed list of a discovery page, 16 bits a universe (8.5).
// After a decode it aliases the packet.
type UniverseList []byte

// Len returns the number of universes.
func (l UniverseList) Len() int { return len(l) / 2 }

// At returns universe i.
func (l UniverseList) At(i int) uint16 { return binary.BigEndian.Uint16(l[2*i:]) }

// flagsAndLength fills the field that begins every PDU: the flags 0x7 (vector,
// header and data present) and the length from its own first octet to the end
// of the packet.
func flagsAndLength(b []byte, offset int) {
	binary.BigEndian.PutUint16(b[offset:], 0x7000|uint16(len(b)-offset))
}

// grow appends n zero octets to b and returns both the whole and the new part.
func grow(b []byte, n int) (whole, packet []byte) {
	whole = slices.Grow(b, n)[:len(b)+n]
	packet = whole[len(b):]
	clear(packet)
	return whole, packet
}

func putRoot(b []byte, vector uint32, cid CID, frameVector uint32) {
	copy(b[offPreamble:], preamble[:])
	flagsAndLength(b, offRootLength)
	binary.BigEndian.PutUint32(b[offRootVector:], vector)
	copy(b[offCID:], cid[:])
	flagsAndLength(b, offFrameLength)
	binary.BigEndian.PutUint32(b[offFrameVector:], frameVector)
}

// AppendTo appends the packet to b. It refuses what the standard forbids:
// a universe outside 1-63999, a priority above 200, more than 512 slots, a
// synchronization address above 63999, reserved option bits.
func (d *Data) AppendTo(b []byte) ([]byte, error) {
	switch {
	case !ValidUniverse(d.Universe):
		return b, fmt.Errorf("universe %d is outside %d-%d", d.Universe, MinUniverse, MaxUniverse)
	case d.SyncAddress > MaxUniverse:
		return b, fmt.Errorf("synchronization address %d is above %d", d.SyncAddress, MaxUniverse)
	case d.Priority > MaxPriority:
		return b, fmt.Errorf("priority %d is above %d", d.Priority, MaxPriority)
	case len(d.Slots) > MaxSlots:
		return b, fmt.Errorf("%d slots are more than a universe's %d", len(d.Slots), MaxSlots)
	case d.Options&0x1f != 0:
		return b, fmt.Errorf("option bits %#02x are reserved", uint8(d.Options&0x1f))
	}
	b, p := grow(b, offSlots+len(d.Slots))
	putRoot(p, vectorRootData, d.CID, vectorData)
	copy(p[offName:], d.Name[:])
	p[offPriority] = d.Priority
	binary.BigEndian.PutUint16(p[offDataSync:], d.SyncAddress)
	p[offSequence] = d.Sequence
	p[offOptions] = uint8(d.Options)
	binary.BigEndian.PutUint16(p[offUniverse:], d.Universe)
	flagsAndLength(p, offDMPLength)
	copy(p[offDMPVector:], dmpHeader[:])
	binary.BigEndian.PutUint16(p[offCount:], uint16(1+len(d.Slots)))
	p[offStartCode] = d.StartCode
	copy(p[offSlots:], d.Slots)
	return b, nil
}

// AppendTo appends the packet to b. It refuses an address outside 1-63999.
func (s *Sync) AppendTo(b []byte) ([]byte, error) {
	if !ValidUniverse(s.Address) {
		return b, fmt.Errorf("synchronization address %d is outside %d-%d", s.Address, MinUniverse, MaxUniverse)
	}
	b, p := grow(b, SyncLen)
	putRoot(p, vectorRootExtended, s.CID, vectorSync)
	p[offSyncSeq] = s.Sequence
	binary.BigEndian.PutUint16(p[offSyncAddr:], s.Address)
	return b, nil
}

// AppendTo appends the packet to b. It refuses more than 512 universes, a list
// that is not ascending (8.5) and a page past the last.
func (d *Discovery) AppendTo(b []byte) ([]byte, error) {
	switch {
	case len(d.Universes)%2 != 0 || d.Universes.Len() > MaxPageLen:
		return b, fmt.Errorf("a list of %d octets is no page of at most %d universes", len(d.Universes), MaxPageLen)
	case d.Page > d.LastPage:
		return b, fmt.Errorf("page %d is past the last, %d", d.Page, d.LastPage)
	}
	for i := 1; i < d.Universes.Len(); i++ {
		if d.Universes.At(i-1) >= d.Universes.At(i) {
			return b, fmt.Errorf("universe %d follows %d: the list must ascend", d.Universes.At(i), d.Universes.At(i-1))
		}
	}
	b, p := grow(b, offList+len(d.Universes))
	putRoot(p, vectorRootExtended, d.CID, vectorDiscovery)
	copy(p[offName:], d.Name[:])
	flagsAndLength(p, offListLength)
	binary.BigEndian.PutUint32(p[offListVector:], vectorList)
	p[offPage], p[offLastPage] = d.Page, d.LastPage
	copy(p[offList:], d.Universes)
	return b, nil
}

// DiscoveryPages builds the discovery packets that announce the universes, which
// must ascend: pages of at most 512, and one empty page for none.
func DiscoveryPages(cid CID, name Name, universes []uint16) ([][]byte, error) {
	last := max(0, (len(universes)-1)/MaxPageLen)
	pages := make([][]byte, 0, last+1)
	for page := 0; page <= last; page++ {
		part := universes[page*MaxPageLen : min(len(universes), (page+1)*MaxPageLen)]
		list := make(UniverseList, 0, 2*len(part))
		for _, u := range part {
			list = binary.BigEndian.AppendUint16(list, u)
		}
		d := Discovery{CID: cid, Name: name, Page: uint8(page), LastPage: uint8(last), Universes: list}
		b, err := d.AppendTo(nil)
		if err != nil {
			return nil, err
		}
		pages = append(pages, b)
	}
	return pages, nil
}
