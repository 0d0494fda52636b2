package main

import (
	"crypto/tls"
	"fmt"
	"net"
)

// secure wraps a listener in TLS 1.2 or newer.
func secure(ln net.Listener, cert, key string) (net.Listener, error) {
	pair, err := tls.LoadX509KeyPair(cert, key)
	if err != nil {
		return nil, fmt.Errorf("reading the certificate: %w", err)
	}
	return tls.NewListener(ln, &tls.Config{MinVersion: tls.VersionTLS12, Certificates: []tls.Certificate{pair}, NextProtos: []string{"http/1.1"}}), nil
}
