package transmit

import (
	"crypto/tls"
	"fmt"

	"yardproof/cmd/yardproof/internal/cli"
)

// KeyPair names the files of a certificate and of its key, in PEM.
type KeyPair struct{ Certificate, Key string }

// readCertificate reads what the page is served with, if anything was named.
func (t *Transmitter) readCertificate() error {
	pair := t.cfg.TLS
	if pair == (KeyPair{}) {
		return nil
	}
	c, err := tls.LoadX509KeyPair(pair.Certificate, pair.Key) // with its leaf, since Go 1.23
	if err != nil {
		return cli.Hint(cli.Usage(fmt.Errorf("--tls-cert: %w", err)), "name a certificate and its key, both PEM files that this user may read")
	}
	t.certificate.Store(&c)
	return nil
}
