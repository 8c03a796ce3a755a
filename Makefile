# The commands of the README. Everything they do is in xtask/, so that it also runs where there is no make:
# cargo xtask demo, cargo xtask setup, cargo xtask test.
.PHONY: demo setup test

# Builds the tool, writes the demo job to out/demo and judges it.
demo:
	@cargo xtask demo

# Installs what the tests need and the machine lacks.
setup:
	@cargo xtask setup

# Everything that must hold before a change lands.
test: setup
	@cargo xtask test
