package rehearsal

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"sync"

	"golang.org/x/net/ipv4"

	"yardproof/config"
	"yardproof/sacn"
)

// mostEars is how many addresses one rehearsal listens at, each with a socket.
const mostEars = 400

// Local gives the controllers of a plan that have an address one of this machine's
// own, 127.31.x.y, which answers echoes as they would; the whole net is the loopback
// interface's (RFC 1122 3.2.1.3).
func Local() func(*config.Controller) netip.Addr {
	n := 0
	return func(*config.Controller) netip.Addr {
		n++
		return netip.AddrFrom4([4]byte{127, 31, byte(n >> 8), byte(n)})
	}
}

// ears are the sockets at which the controllers of a plan hear.
type ears struct {
	lo    *net.Interface
	conns []*net.UDPConn
	to    []netip.Addr // where each is sent to; the zero address: a group
}

// openEars joins the groups of a plan, and takes its controllers' addresses, on the
// loopback interface. It hears this machine and nothing else.
func openEars(ctx context.Context, p *config.Plan) (*ears, error) {
	lo, err := net.InterfaceByName(p.Network.Interface)
	if err != nil {
		return nil, fmt.Errorf("interface %s: %w", p.Network.Interface, err)
	}
	e := &ears{lo: lo}
	seen := map[netip.Addr]bool{}
	for _, u := range p.Map().Universes {
		at, group := u.Address, !u.Address.IsValid()
		if group {
			at = sacn.MulticastAddr4(u.Number)
		}
		if seen[at] {
			continue
		}
		seen[at] = true
		if len(e.conns) == mostEars {
			e.close()
			return nil, fmt.Errorf("the plan has more than %d universes, too many to rehearse at once: choose some of its controllers with --only-controllers", mostEars)
		}
		addr := &net.UDPAddr{IP: at.AsSlice(), Port: sacn.Port}
		var c *net.UDPConn
		if group {
			c, err = net.ListenMulticastUDP("udp4", lo, addr)
		} else {
			c, err = listenShared(ctx, addr)
		}
		if err != nil {
			e.close()
			return nil, fmt.Errorf("listening as a controller at %s: %w", at, err)
		}
		e.conns, e.to = append(e.conns, c), append(e.to, u.Address)
	}
	if sync := p.Network.SyncUniverse; sync != 0 {
		c, err := net.ListenMulticastUDP("udp4", lo, &net.UDPAddr{IP: sacn.MulticastAddr4(sync).AsSlice(), Port: sacn.Port})
		if err != nil {
			e.close()
			return nil, fmt.Errorf("listening for synchronization: %w", err)
		}
		e.conns, e.to = append(e.conns, c), append(e.to, netip.Addr{})
	}
	return e, nil
}

func (e *ears) close() {
	for _, c := range e.conns {
		c.Close()
	}
}

// run hands every packet to take until ctx ends.
func (e *ears) run(ctx context.Context, take func(to netip.Addr, packet []byte)) error {
	var readers sync.WaitGroup
	defer readers.Wait()
	stop := context.AfterFunc(ctx, e.close)
	defer stop()
	failed := make(chan error, len(e.conns))
	for i, c := range e.conns {
		readers.Go(func() {
			buf := make([]byte, sacn.MaxDiscoveryLen+1)
			p := ipv4.NewPacketConn(c)
			tells := p.SetControlMessage(ipv4.FlagInterface, true) == nil
			for {
				n, by, _, err := p.ReadFrom(buf)
				if err != nil {
					failed <- err
					return
				}
				// A group that others on this machine joined elsewhere brings their packets too.
				if !tells || by != nil && by.IfIndex == e.lo.Index {
					take(e.to[i], buf[:n])
				}
			}
		})
	}
	err := <-failed
	e.close()
	if ctx.Err() != nil || errors.Is(err, net.ErrClosed) {
		return nil
	}
	return fmt.Errorf("receiving: %w", err)
}
