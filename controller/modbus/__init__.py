"""The wire: the process image over Modbus TCP, for either end and in either Modbus role."""
