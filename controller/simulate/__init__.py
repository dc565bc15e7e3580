"""The simulated station: logic and plant in a closed loop, what an operator does, what comes out."""
