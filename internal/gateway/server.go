package gateway

import (
	"log/slog"
	"net/http"
	"time"
)

const (
	headerTimeout = 5 * time.Second  // who needs longer for a few lines holds the connection on purpose
	readTimeout   = 30 * time.Second // headers and a body of about 1 MiB: 300 kbit/s are enough
	writeSlack    = 30 * time.Second // to send an answer of about 1 MiB
	idleTimeout   = 2 * time.Minute  // longer than the usual 60 s of proxies, so that they close first
	maxHeader     = 16 << 10
)

// Server puts limits around a handler whose calls take at most deadline. No limit is
// left to net/http, whose own are endless (1 MiB for headers).
func Server(h http.Handler, deadline time.Duration, log *slog.Logger) *http.Server {
	if log == nil {
		log = slog.Default()
	}
	return &http.Server{
		Handler:           h,
		ReadHeaderTimeout: headerTimeout,
		ReadTimeout:       readTimeout,
		WriteTimeout:      readTimeout + deadline + writeSlack, // counts from the end of the headers
		IdleTimeout:       idleTimeout,
		MaxHeaderBytes:    maxHeader - 4<<10, // net/http adds 4 KiB
		ErrorLog:          slog.NewLogLogger(log.Handler(), slog.LevelWarn),
	}
}
