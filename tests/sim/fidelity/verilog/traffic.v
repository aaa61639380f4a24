// Lights at a swing bridge: road, boats, and an all-red time between them.
module traffic (input clk, rst, boat, hurry, output reg [2:0] road, output reg [2:0] water, output [5:0] left);
  parameter ROAD = 0, ROAD_AMBER = 1, CLEAR_A = 2, WATER = 3, WATER_AMBER = 4, CLEAR_B = 5;
  reg [2:0] state = ROAD;
  reg [5:0] timer = 20;
  assign left = timer;
  always @* begin
    road = 3'b100;
    water = 3'b100;
    case (state)
      ROAD: road = 3'b001;
      ROAD_AMBER: road = 3'b010;
      WATER: water = 3'b001;
      WATER_AMBER: water = 3'b010;
      default: ;
    endcase
  end
  task go(input [2:0] to, input [5:0] time_);
    begin
      state <= to;
      timer <= time_;
    end
  endtask
  always @(posedge clk)
    if (rst) go(ROAD, 20);
    else if (timer != 0) timer <= (hurry && timer > 2) ? timer - 2 : timer - 1;
    else
      case (state)
        ROAD: if (boat) go(ROAD_AMBER, 3);
        ROAD_AMBER: go(CLEAR_A, 2);
        CLEAR_A: go(WATER, 40);
        WATER: go(WATER_AMBER, 4);
        WATER_AMBER: go(CLEAR_B, 5);
        default: go(ROAD, 20);
      endcase
endmodule
