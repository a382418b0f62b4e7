// Package page serves the record to a browser on this computer: how things stand, the
// sites by years, and every site's pictures along the years, two of them large beside
// each other. Begin with [Run]; the service has [NewPages].
//
// An archive is a [book]: what package daemon says of it, read once and kept until
// it is a little old or something was done. Each view of it is a plain struct, made
// from that in one file, with one template of the same name in the folder html.
// Everything works by links and forms; the scripts in the folder static only make
// it quicker. A person's doing is the command's own: the same method of
// daemon.Archive, with the same checks, and the view shows the command line.
//
// Nothing in a request is ever a path. A site, a file or a picture is asked for by
// a key that the archive's book gave it, and only that book is asked. Who may ask
// at all is decided in package gate; small pictures are made in package small.
package page
