package web

import (
	"crypto/tls"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"net"
	"net/http"
	"net/netip"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"rsc.io/qr"

	"yardproof/cmd/yardproof/internal/durable"
)

const cookieName = "yardproof"

// phone returns the phone that a request comes from, if it was let in.
func (s *Server) phone(r *http.Request) (key, bool) {
	c, err := r.Cookie(cookieName)
	if err != nil {
		return key{}, false
	}
	return s.phones.find(c.Value)
}

// postSession lets a phone in that brings a token.
func (s *Server) postSession(w http.ResponseWriter, r *http.Request, in struct {
	Token string `json:"token"`
}) error {
	from := address(r.RemoteAddr) // nobody's, where it makes no sense: who share ten guesses
	if wait := s.guesses.try(from); wait > 0 {
		seconds := int(math.Ceil(wait.Seconds()))
		w.Header().Set("Retry-After", fmt.Sprint(seconds))
		return problemf(http.StatusTooManyRequests, "Too many wrong links; try again in %d seconds.", seconds)
	}
	link, ok := s.links.take(in.Token)
	if !ok {
		s.cfg.Log.Warn("a link that is not good was tried", "from", r.RemoteAddr)
		return problemf(http.StatusForbidden, "This link was used before, or is older than ten minutes. Ask for a new one: yardproof link on the laptop, or Yard on a phone that is already in.")
	}
	s.guesses.right(from)
	secret, phone, err := s.phones.enter(link.Name)
	if err != nil {
		return err
	}
	http.SetCookie(w, &http.Cookie{
		Name: cookieName, Value: secret, Path: "/",
		MaxAge: int(phoneLife.Seconds()), HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: r.TLS != nil,
	})
	s.cfg.Log.Info("a phone was let in", "name", phone.Name, "from", r.RemoteAddr)
	w.WriteHeader(http.StatusNoContent)
	return nil
}

// postLinks makes a link for another phone, at the address that this one uses.
func (s *Server) postLinks(w http.ResponseWriter, r *http.Request, in struct {
	Name string `json:"name"`
}) error {
	if err := checkName(in.Name); err != nil {
		return problemf(http.StatusBadRequest, "%s.", sentence(err))
	}
	if s.cfg.Loopback {
		return problemf(http.StatusConflict, "The page is served to this machine alone; start it with --http ADDRESS:PORT to let phones in.")
	}
	link, err := newLink(s.links, scheme(r.TLS != nil)+r.Host, in.Name)
	if err != nil {
		return err
	}
	code, err := qr.Encode(link, qr.M)
	if err != nil {
		return err
	}
	rows := make([]string, code.Size)
	for y := range rows {
		var b strings.Builder
		for x := range code.Size {
			if code.Black(x, y) {
				b.WriteByte('1')
			} else {
				b.WriteByte('0')
			}
		}
		rows[y] = b.String()
	}
	return writeJSON(w, http.StatusCreated, map[string]any{"link": link, "qr": rows, "minutes": linkLife.Minutes()})
}

func newLink(links *keyring, base, name string) (string, error) {
	token, err := links.add(key{Name: name})
	if err != nil {
		return "", err
	}
	return base + "/#" + token, nil // a fragment is in no request line, log or preview
}

// NewLink makes a link for one phone, good once and for ten minutes, at the
// address under which the server of a state directory was last announced. The phone
// gets the name, or a number when it is "".
func NewLink(state, name string) (string, error) {
	if err := checkName(name); err != nil {
		return "", err
	}
	base, err := os.ReadFile(filepath.Join(state, addressFile))
	if errors.Is(err, fs.ErrNotExist) {
		return "", fmt.Errorf("no page was served from %s yet; start yardproof run with --http ADDRESS:PORT first", state)
	}
	if err != nil {
		return "", fmt.Errorf("no address to link to: %w; start yardproof run with --http ADDRESS:PORT first", err)
	}
	links, err := linksOf(state).open()
	if err != nil {
		return "", err
	}
	return newLink(links, strings.TrimSpace(string(base)), name)
}

const addressFile = "page"

// scheme is how an address of the page begins.
func scheme(secure bool) string {
	if secure {
		return "https://"
	}
	return "http://"
}

// Announce notes in the state directory where the server listens, for
// [NewLink], and returns that place as a base URL. A listener on all addresses
// is announced by the first that others can reach; one with a certificate that does
// not stand for the address by the name that it stands for.
func Announce(state string, at net.Addr, by *tls.Certificate) (string, error) {
	ap, err := netip.ParseAddrPort(at.String())
	if err != nil {
		return "", fmt.Errorf("address of the page: %w", err)
	}
	if ap.Addr().IsUnspecified() {
		ap = netip.AddrPortFrom(reachable(), ap.Port())
	}
	ap = netip.AddrPortFrom(ap.Addr().Unmap().WithZone(""), ap.Port())
	host := ap.String()
	if by != nil && by.Leaf.VerifyHostname(ap.Addr().String()) != nil && len(by.Leaf.DNSNames) > 0 {
		host = net.JoinHostPort(by.Leaf.DNSNames[0], fmt.Sprint(ap.Port()))
	}
	base := scheme(by != nil) + host
	if err := durable.Replace(filepath.Join(state, addressFile), []byte(base+"\n"), 0o600); err != nil {
		return "", fmt.Errorf("state directory: %w", err)
	}
	return base, nil
}

// reachable returns an address of this machine that is not loopback or
// link-local, IPv4 before IPv6; loopback when there is none.
func reachable() netip.Addr {
	best := netip.AddrFrom4([4]byte{127, 0, 0, 1})
	addrs, _ := net.InterfaceAddrs() // none: loopback it is
	for _, a := range slices.Backward(addrs) {
		p, err := netip.ParsePrefix(a.String())
		if err == nil && p.Addr().IsGlobalUnicast() && (p.Addr().Is4() || best.IsLoopback()) {
			best = p.Addr()
		}
	}
	return best
}

// QR draws a link for a terminal, two modules to a character, light on the
// terminal's own background with the quiet zone that ISO/IEC 18004 asks for.
func QR(link string) (string, error) {
	code, err := qr.Encode(link, qr.M)
	if err != nil {
		return "", fmt.Errorf("QR code: %w", err)
	}
	const quiet = 4
	white, usual := "\x1b[97;40m", "\x1b[0m"
	if os.Getenv("NO_COLOR") != "" {
		white, usual = "", ""
	}
	var b strings.Builder
	light := func(x, y int) bool { return !code.Black(x, y) } // outside the code nothing is black
	for y := -quiet; y < code.Size+quiet; y += 2 {
		b.WriteString(white)
		for x := -quiet; x < code.Size+quiet; x++ {
			switch up, low := light(x, y), light(x, y+1); {
			case up && low:
				b.WriteString("█")
			case up:
				b.WriteString("▀")
			case low:
				b.WriteString("▄")
			default:
				b.WriteByte(' ')
			}
		}
		b.WriteString(usual + "\n")
	}
	return b.String(), nil
}
