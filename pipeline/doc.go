// Package pipeline joins the stages of a job.
//
//	files ──▶ read ──▶ Survey ──▶ match ──▶ adjust ──▶ judge ──▶ correct ──▶ rank ──▶ publish ──▶ run folder
//	                                ▲          │ Model
//	                                └──────────┘
//	                     what adjust learns about sheets is the prior
//	                      for a second match (three rounds at most)
//
// read and publish are the only stages that touch files. Between them every
// stage is a pure function of the Survey, what the stages before it found, and
// its Options; the same input gives the same bytes on any number of cores.
// Stages speak in the types of package survey and never import each other: this
// package is the only place that joins them.
package pipeline
