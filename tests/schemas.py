"""Write configs/schemas from the models: `make schemas`; test_schemas.py holds the two together."""

from functools import cache
from pathlib import Path

from controller.campaign.scenario_file import scenario_model
from controller.modbus.map_file import map_model
from controller.points import points_model
from controller.reporting.message_models import MODELS
from controller.reporting.services import Services
from controller.schemas import schema_text
from controller.settings import receiver_model
from io_sim.settings import plant_model

FOLDER = Path(__file__).parents[1] / "configs" / "schemas"


@cache
def texts() -> dict[str, str]:
    models = {"receiver": receiver_model(), "points": points_model(), "plant": plant_model()}
    models["modbus"] = map_model()
    models["scenario"] = scenario_model()
    models["services"] = Services
    models |= {f"mqtt/{kind}": model for kind, model in MODELS.items()}
    return {f"{name}.schema.json": schema_text(model) for name, model in models.items()}


if __name__ == "__main__":
    (FOLDER / "mqtt").mkdir(parents=True, exist_ok=True)
    for name, text in texts().items():
        (FOLDER / name).write_text(text, encoding="utf-8")
