package rehearsal

import (
	"net/netip"
	"testing"

	"yardproof/cmd/yardproof/internal/rehearsal/yard"
	"yardproof/sacn"
)

// The yard hears its own transmitter, and nobody else on the loopback interface.
func TestHearsItsOwnAlone(t *testing.T) {
	r := demo(t, 1, 0)
	r.own = sacn.CID{1}
	send := func(cid byte, v byte) yard.Colour {
		t.Helper()
		d := sacn.Data{CID: sacn.CID{cid}, Universe: 1, Priority: 100, Slots: []byte{v, v, v}}
		packet, err := d.AppendTo(nil)
		if err != nil {
			t.Fatal(err)
		}
		r.take(netip.Addr{}, packet)
		r.yard.Refresh(r.now())
		return r.yard.Look(nil, 0)[0]
	}
	if got := send(1, 40); got != (yard.Colour{R: 40, G: 40, B: 40}) {
		t.Errorf("its own light: %v", got)
	}
	if got := send(2, 200); got.R != 40 {
		t.Errorf("light of another: %v", got)
	}
	r.take(netip.Addr{}, []byte("no packet"))
}
