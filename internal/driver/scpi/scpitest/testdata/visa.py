"""Reads a burst from the instrument at host and port with pyvisa-py, in every encoding, and prints it as JSON."""
import json
import sys

import pyvisa

host, port = sys.argv[1], sys.argv[2]
i = pyvisa.ResourceManager("@py").open_resource(f"TCPIP::{host}::{port}::SOCKET", read_termination="\n", write_termination="\n", timeout=10000)
seen = {"identity": i.query("*IDN?"), "complete": i.query("*OPC?"), "frequency": float(i.query("SOUR:FREQ?")), "output": i.query("OUTP?")}
i.write("LEVEL 3")
seen["error"] = [i.query("SYST:ERR?"), i.query("SYST:ERR?")]
blocks = {}
for name, datatype in ("REAL,32", "f"), ("REAL,64", "d"), ("INT,32", "i"):
    for order, big in ("NORM", True), ("SWAP", False):
        i.write(f"FORM {name};:FORM:BORD {order}")
        blocks[name + " " + order] = i.query_binary_values("FETCH?", datatype=datatype, is_big_endian=big)
i.write("FORM ASC")
blocks["ASCII"] = i.query_ascii_values("FETCH?")
seen["blocks"] = blocks
json.dump(seen, sys.stdout)
