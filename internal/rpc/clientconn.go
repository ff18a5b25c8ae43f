package rpc

import "google.golang.org/grpc"

// ClientOn makes a client of the server that a connection leads to. Close closes that.
func ClientOn(conn *grpc.ClientConn) *Client { return newClient(conn) }

// Conn is the connection, for services that Client has no methods of.
func (c *Client) Conn() grpc.ClientConnInterface { return c.conn }
