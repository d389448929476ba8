package main

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

// writeCertificate writes one that vouches for itself under a name, and its key.
func writeCertificate(t *testing.T, cert, key, name string) {
	t.Helper()
	secret, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: name}, DNSNames: []string{name},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		BasicConstraintsValid: true, IsCA: true,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &secret.PublicKey, secret)
	if err != nil {
		t.Fatal(err)
	}
	own, err := x509.MarshalPKCS8PrivateKey(secret)
	if err != nil {
		t.Fatal(err)
	}
	for path, block := range map[string]*pem.Block{cert: {Type: "CERTIFICATE", Bytes: der}, key: {Type: "PRIVATE KEY", Bytes: own}} {
		sacntest.Write(t, path, pem.EncodeToMemory(block))
	}
}

// TestHTTPS lets a phone in over TLS: curl checks the certificate. Whoever overhears the
// network gets no cookie, and a certificate that was renewed is taken up by a reload.
func TestHTTPS(t *testing.T) {
	t.Parallel() // it waits more than it works
	pair := sacntest.NewPair(t)
	state, dir := t.TempDir(), t.TempDir()
	cert, key, jar := filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem"), filepath.Join(dir, "cookies")
	writeCertificate(t, cert, key, "quay.example")
	prog := pair.Start(t, pair.Near, "run", burnInPlan, "--no-scan", "--state", state, "--http", sacntest.NearAddr4+":9531", "--tls-cert", cert, "--tls-key", key)
	const page = "https://quay.example:9531"
	curl := func(args ...string) string {
		args = append([]string{"-s", "-m", "5", "--resolve", "quay.example:9531:" + sacntest.NearAddr4, "--cacert", cert, "-b", jar, "-c", jar,
			"-H", "Content-Type: application/json", "-w", "%{http_code}"}, args...)
		out, _ := pair.Command(t.Context(), pair.Far, "curl", args...).Output() // the code tells
		return string(out)
	}
	sacntest.Eventually(t, 20*time.Second, "ready", func() bool { return curl(page+"/readyz") == "ready\n200" })
	linked := pair.Start(t, pair.Near, "link", "--state", state)
	if code := linked.Wait(20 * time.Second); code != exitFine || !strings.HasPrefix(linked.Stdout(), page+"/#") {
		t.Fatalf("link: exit %d, %s%s", code, linked.Stdout(), linked.Stderr())
	}
	_, token, _ := strings.Cut(strings.TrimSpace(linked.Stdout()), "#")
	if got := curl("-d", `{"token":"`+token+`"}`, page+"/api/session"); got != "204" {
		t.Errorf("the link answers %q", got)
	}
	if got := curl("-d", "{}", page+"/api/dark"); !strings.HasSuffix(got, "200") {
		t.Errorf("dark answers %q", got)
	}
	if text, err := os.ReadFile(jar); err != nil || !strings.Contains(string(text), "\tTRUE\t") {
		t.Errorf("the cookie may go over plain HTTP: %s, %v", text, err)
	}
	if got := curl("http://" + sacntest.NearAddr4 + ":9531/healthz"); !strings.HasSuffix(got, "400") {
		t.Errorf("plain HTTP is answered %q", got)
	}
	writeCertificate(t, cert, key, "quay.example") // another, which curl trusts from now on
	if got := curl(page + "/healthz"); got != "000" {
		t.Errorf("before the reload: %q", got)
	}
	prog.Signal(syscall.SIGHUP)
	sacntest.Eventually(t, 20*time.Second, "the new certificate", func() bool { return curl(page+"/healthz") == "ok\n200" })
	sacntest.Write(t, key, "")
	prog.Signal(syscall.SIGHUP)
	prog.Says(20*time.Second, "the certificate was not read again; the old one stays")
	if got := curl(page + "/healthz"); got != "ok\n200" {
		t.Errorf("with a broken key: %q", got)
	}
}
